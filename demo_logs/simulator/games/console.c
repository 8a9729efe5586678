/* Stands in for the Lantern: the game's events come in on standard input, the log's bytes go out on standard output.
 *
 * The recorder is the real one; only the board around it is simulated: its clock, and a UART that takes one byte after
 * the other at the baud rate, so that a ring that is too small or a transmitter that is served too rarely drops events
 * here as it would there.
 *
 *   console describe                  prints the dictionary, and one line `value N` for every tunable
 *   console play RING BAUD FIFO NONCE reads commands, one a line, numbers in decimal:
 *     e TICK KIND FIELD...            an event: its kind's number, its fields in order
 *     s TICK TUNABLE VALUE            a tunable changes
 *     r NONCE                         the console is reset: its clock starts again, what was not sent is lost
 *     t TICK                          nothing happens until then
 *   FIFO 0: transmission by interrupt. FIFO n: by polling, at most n bytes each time the main loop comes round.
 *
 * Compile with -DGAME_HEADER="<soot_wardens.h>" and the folders of the recorder, the games and the tuned values.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include GAME_HEADER

#ifdef _WIN32
#include <fcntl.h>
#include <io.h>
#endif

enum { MAX_ARGUMENTS = 20, LOOPS_PER_SECOND = 50 };

PLAYLOG_DEFINE(schema);

static struct playlog play;
static uint8_t ring[PLAYLOG_MAX_RING];
static int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;

/* The board. Times are ticks of the console's clock; a byte's time is a fraction of one, hence the doubled unit. */
static uint64_t now_ticks, next_loop, byte_done;
static uint64_t byte_parts; /* a tick has BAUD parts, so that a byte takes 10 * LOG_CLOCK_HZ of them */
static uint64_t baud;
static unsigned fifo;
static bool interrupt_on, transmitting;

static uint32_t now(void) { return (uint32_t)now_ticks; }
static uint32_t lock(void) { return 0; }
static void unlock(uint32_t was) { (void)was; }
static void enable_interrupt(bool on) { interrupt_on = on; }

static void send(uint8_t byte)
{
    putchar(byte);
    transmitting = true;
    byte_parts += 10u * (uint64_t)LOG_CLOCK_HZ;
    byte_done = now_ticks + byte_parts / baud;
    byte_parts %= baud;
}

static void main_loop(void)
{
    int byte = 0;
    uint64_t room = baud / 10u / LOOPS_PER_SECOND;

    next_loop = now_ticks + LOG_CLOCK_HZ / LOOPS_PER_SECOND;
    playlog_poll(&play);
    if (fifo != 0 && room > fifo) {
        room = fifo;
    }
    while (fifo != 0 && room-- != 0 && (byte = playlog_next_byte(&play)) >= 0) {
        putchar(byte);
    }
}

/* Lets the board live until `tick`. */
static void advance(uint64_t tick)
{
    for (;;) {
        const bool byte_first = transmitting && byte_done <= next_loop;
        const uint64_t next = byte_first ? byte_done : next_loop;

        if (next > tick) {
            break;
        }
        now_ticks = next;
        if (byte_first) {
            transmitting = false;
            if (interrupt_on) {
                playlog_on_transmitter_empty(&play);
            }
        } else {
            main_loop();
        }
    }
    now_ticks = tick;
}

static const struct playlog_port by_interrupt = {now, lock, unlock, send, enable_interrupt};
static const struct playlog_port by_polling = {now, lock, unlock, NULL, NULL};

static void power_up(size_t ring_bytes, uint16_t nonce)
{
    now_ticks = next_loop = byte_done = byte_parts = 0;
    interrupt_on = transmitting = false;
    if (!(playlog_init)(&play, &schema, tunables, ring, ring_bytes, fifo == 0 ? &by_interrupt : &by_polling, nonce)) {
        fprintf(stderr, "console: a ring of %zu bytes is not allowed; use a power of two from 512 to 32768\n", ring_bytes);
        exit(2);
    }
}

/* One function a kind that takes its fields from an array, and a table of them. */
#define NO_LABEL(value, text)
#define ARGUMENT_NUMBER(type, name, role, unit) argument_##name,
#define ARGUMENT(type, name, role, unit) , (playlog_##type)a[argument_##name]
#define CALL(kind, role)                                                                                           \
    static void call_##kind(const int64_t *a)                                                                      \
    {                                                                                                              \
        enum { LOG_##kind(ARGUMENT_NUMBER, NO_LABEL) arguments_end };                                              \
        (void)a;                                                                                                   \
        log_##kind(&play LOG_##kind(ARGUMENT, NO_LABEL));                                                          \
    }
LOG_KINDS(CALL)
#define CALL_ENTRY(kind, role) call_##kind,
static void (*const calls[])(const int64_t *) = {LOG_KINDS(CALL_ENTRY)};

static int describe(void)
{
    int i;

    fwrite(schema.text, 1, schema.length, stdout);
    for (i = 0; i < LOG_TUNABLE_COUNT; i++) {
        printf("value %" PRId32 "\n", tunables[i]);
    }
    return 0;
}

static int refuse(unsigned long line)
{
    fprintf(stderr, "console: command %lu cannot be understood\n", line);
    return 2;
}

static int play_commands(size_t ring_bytes)
{
    static char line[512];
    unsigned long number = 0;

    while (fgets(line, sizeof line, stdin) != NULL) {
        int64_t a[MAX_ARGUMENTS] = {0};
        int count = 0;
        char *rest = line + 1;

        number++;
        while (count < MAX_ARGUMENTS) {
            char *end;
            const long long value = strtoll(rest, &end, 10);
            if (end == rest) {
                break;
            }
            a[count++] = value;
            rest = end;
        }
        if (line[0] == 'e' && count >= 2 && a[1] >= 0 && a[1] < LOG_KIND_COUNT && (uint64_t)a[0] >= now_ticks) {
            advance((uint64_t)a[0]);
            calls[a[1]](a + 2);
        } else if (line[0] == 's' && count == 3 && a[1] >= 0 && a[1] < LOG_TUNABLE_COUNT && (uint64_t)a[0] >= now_ticks) {
            advance((uint64_t)a[0]);
            tunables[a[1]] = (int32_t)a[2];
            playlog_settings_changed(&play);
        } else if (line[0] == 't' && count == 1 && (uint64_t)a[0] >= now_ticks) {
            advance((uint64_t)a[0]);
        } else if (line[0] == 'r' && count == 1) {
            power_up(ring_bytes, (uint16_t)a[0]);
        } else {
            return refuse(number);
        }
        fflush(stdout);
    }
    return 0;
}

int main(int count, char **words)
{
#ifdef _WIN32
    _setmode(_fileno(stdout), _O_BINARY);
#endif
    if (count == 2 && strcmp(words[1], "describe") == 0) {
        return describe();
    }
    if (count != 6 || strcmp(words[1], "play") != 0 || strtoull(words[3], NULL, 10) == 0) {
        fprintf(stderr, "usage: console describe | console play RING BAUD FIFO NONCE\n");
        return 2;
    }
    baud = strtoull(words[3], NULL, 10);
    fifo = (unsigned)strtoul(words[4], NULL, 10);
    power_up((size_t)strtoull(words[2], NULL, 10), (uint16_t)strtoul(words[5], NULL, 10));
    return play_commands((size_t)strtoull(words[2], NULL, 10));
}
