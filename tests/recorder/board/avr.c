/* The recorder on an AVR: a timer's interrupt logs, the transmitter's interrupt sends, the main loop logs and polls.
 *
 * What the transmitter was given is kept, and written out at the end in hexadecimal, because the emulator shows text only.
 */
#include "game_log.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

enum { EVENTS = 300, MOST = 9000 };

PLAYLOG_DEFINE(schema);

static volatile uint32_t ticks;
static volatile uint16_t buttons;
static uint8_t sent[MOST];
static volatile uint16_t sent_bytes;
static struct playlog play;
static uint8_t ring[512];
static int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;

static uint32_t now(void) { return ticks; }

static uint32_t lock(void)
{
    const uint8_t was = SREG;
    cli();
    return was;
}

static void unlock(uint32_t was) { SREG = (uint8_t)was; }

static void keep(uint8_t byte)
{
    if (sent_bytes < MOST) {
        sent[sent_bytes++] = byte;
    }
}

#ifdef BY_POLLING
static const struct playlog_port port = {now, lock, unlock, NULL, NULL};
#else
static void send(uint8_t byte)
{
    keep(byte);
    UDR0 = 0;
}

static void enable_interrupt(bool on) { UCSR0B = on ? (1 << TXEN0 | 1 << UDRIE0) : 1 << TXEN0; }
static const struct playlog_port port = {now, lock, unlock, send, enable_interrupt};
ISR(USART0_UDRE_vect) { playlog_on_transmitter_empty(&play); }
#endif

ISR(TIMER0_COMPA_vect)
{
    ticks++;
    if (ticks % 8u == 0u && ticks > 200u) {
        buttons++;
        log_button(&play, (uint8_t)(ticks % 3u), (uint8_t)(ticks % 5u));
    }
}

static void write(char c)
{
    while ((UCSR0A & (1 << UDRE0)) == 0) {
    }
    UDR0 = (uint8_t)c;
}

static void write_number(uint16_t number, uint8_t digits)
{
    while (digits-- != 0u) {
        write("0123456789ABCDEF"[number >> (4u * digits) & 15u]);
    }
}

static uint32_t time(void)
{
    const uint32_t was = lock();
    const uint32_t is = ticks;
    unlock(was);
    return is;
}

int main(void)
{
    uint16_t logged = 0, n;
    uint32_t frame = 0;

    UBRR0 = 8; /* 115200 baud at 16 MHz */
    UCSR0B = 1 << TXEN0;
    TCCR0A = 1 << WGM01;
    TCCR0B = 1 << CS01 | 1 << CS00; /* 16 MHz / 64 / 250: 1000 a second */
    OCR0A = 249;
    TIMSK0 = 1 << OCIE0A;
    if (!playlog_init(&play, &schema, tunables, ring, sizeof ring, &port, 42u)) {
        return 1;
    }
    sei();
    while (logged < EVENTS) {
#ifdef BY_POLLING
        const int byte = playlog_next_byte(&play);
        if (byte >= 0) {
            keep((uint8_t)byte);
        }
#endif
        if (time() / 10u != frame) {
            frame = time() / 10u;
            playlog_poll(&play);
            if (frame > 20u) {
                log_at(&play, (uint8_t)(logged % 255u), (int16_t)logged);
                logged++;
            }
        }
    }
    TIMSK0 = 0;
    playlog_flush(&play);
#ifdef BY_POLLING
    for (;;) {
        const int byte = playlog_next_byte(&play);
        if (byte < 0) {
            break;
        }
        keep((uint8_t)byte);
    }
#else
    while (UCSR0B & (1 << UDRIE0)) {
    }
#endif
    write('\n');
    write_number(buttons, 4);
    write_number(playlog_dropped(&play), 4);
    for (n = 0; n < sent_bytes; n++) {
        if (n % 32u == 0u) {
            write('\n');
        }
        write_number(sent[n], 2);
    }
    write('\n');
    write('\n');
    cli();
    sleep_enable();
    sleep_cpu();
    return 0;
}
