/* The recorder on the benchmark's board; log_<kind>() is called as call_<kind>(arguments). */
#include "shooter_log.h"

#include "board.h"

PLAYLOG_DEFINE(shooter);

volatile uint32_t board_now;
struct playlog play;
uint8_t ring[1024];
int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;

static void send(uint8_t byte) { UART_DATA = byte; }
static void enable_interrupt(bool on) { UART_INTERRUPT = on; }

static uint32_t port_now(void) { return now(); }
static uint32_t port_lock(void) { return lock(); }
static void port_unlock(uint32_t was) { unlock(was); }
static const struct playlog_port by_interrupt = {port_now, port_lock, port_unlock, send, enable_interrupt};
static const struct playlog_port by_polling = {port_now, port_lock, port_unlock, NULL, NULL};

extern bool power_up(uint32_t interrupt, uint32_t nonce);
bool power_up(uint32_t interrupt, uint32_t nonce)
{
    return playlog_init(&play, &shooter, tunables, ring, sizeof ring, interrupt != 0u ? &by_interrupt : &by_polling,
                        (uint16_t)nonce);
}

#define NO_LABEL(value, text)
#define READ(type, name, role, unit) const playlog_##type name = (playlog_##type)*a++;
#define PASS(type, name, role, unit) , name
#define CALL(kind, role)                                                                                           \
    extern void call_##kind(const int32_t *a);                                                                     \
    void call_##kind(const int32_t *a)                                                                             \
    {                                                                                                              \
        LOG_##kind(READ, NO_LABEL)                                                                                 \
        log_##kind(&play LOG_##kind(PASS, NO_LABEL));                                                              \
    }
LOG_KINDS(CALL)

/* An event of any width, of a kind that is not in the dictionary. */
extern void call_raw(uint32_t at_once, uint32_t width);
void call_raw(uint32_t at_once, uint32_t width)
{
    static uint8_t fields[PLAYLOG_HEAD_ROOM + 64];
    playlog_event(&play, (uint8_t)(4u * LOG_KIND_COUNT + at_once), fields + PLAYLOG_HEAD_ROOM, (uint8_t)width);
}

/* An interrupt above the transmitter's that logs something to be sent at once. */
extern void logging_interrupt(void);
void logging_interrupt(void) { log_cleared(&play, 1); }
