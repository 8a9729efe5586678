/* Drives the recorder natively from a script on standard input, and writes what it sends to standard output.
 *
 * The script is binary and little-endian, as native.py writes it: a head, then commands until the end. It is trusted.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "playlog.h"

static uint32_t board_ticks;
static bool interrupt_on, transmitting, locked;
static bool uart_off, meddled; /* the UART is not set up yet; somebody else has had a hand in it */

static uint32_t now(void) { return board_ticks; }

static uint32_t lock(void)
{
    const bool was = locked;
    locked = true;
    return was;
}

static void unlock(uint32_t was) { locked = was != 0u; }

static void send(uint8_t byte)
{
    if (uart_off) {
        return;
    }
    if (transmitting) {
        fprintf(stderr, "replay: a byte was written over another one in the transmitter\n");
        abort();
    }
    transmitting = true;
    putchar(byte);
}

static void enable_interrupt(bool on)
{
    if (on && !transmitting && !uart_off && !meddled) {
        fprintf(stderr, "replay: the interrupt was turned on over an empty transmitter and comes before its byte\n");
        abort();
    }
    interrupt_on = on && !uart_off;
    meddled = false;
}

static const struct playlog_port by_interrupt = {now, lock, unlock, send, enable_interrupt};
static const struct playlog_port by_polling = {now, lock, unlock, NULL, NULL};

static uint32_t number(void)
{
    uint32_t value = 0;
    unsigned i;

    for (i = 0; i < 4; i++) {
        value |= (uint32_t)(getchar() & 0xFF) << (8 * i);
    }
    return value;
}

static void drain(struct playlog *play, bool interrupts, uint32_t most)
{
    int byte;

    while (most-- != 0) {
        if (!interrupts) {
            byte = playlog_next_byte(play);
            if (byte < 0) {
                return;
            }
            putchar(byte);
        } else {
            transmitting = false;
            if (!interrupt_on) {
                return;
            }
            playlog_on_transmitter_empty(play);
        }
    }
}

int main(void)
{
    static struct playlog play;
    struct playlog_schema schema;
    const uint32_t length = number();
    const uint32_t tunables = number();
    const uint32_t clock_hz = number();
    const uint32_t ring_bytes = number();
    const bool interrupts = number() != 0;
    /* Of exact size, so that the sanitizer sees a step too far; static, so that it sees no leak. */
    static char *text;
    static int32_t *values;
    static uint8_t *ring;
    uint8_t fields[PLAYLOG_HEAD_ROOM + 64];
    uint32_t i, tag, width;
    int command;

    text = malloc(length);
    values = tunables != 0 ? malloc(tunables * sizeof *values) : NULL;
    ring = malloc(ring_bytes);
    if (fread(text, 1, length, stdin) != length) {
        return 1;
    }
    for (i = 0; i < tunables; i++) {
        values[i] = (int32_t)number();
    }
    schema.text = text;
    schema.length = (uint16_t)length;
    schema.tunables = (uint8_t)tunables;
    schema.clock_hz = clock_hz;
    while ((command = getchar()) != EOF) {
        board_ticks = number();
        switch (command) {
        case 'o': /* the UART is off, or is set up: then its interrupt is off */
            uart_off = number() != 0;
            interrupt_on = transmitting = false;
            meddled = true;
            break;
        case 'c': /* somebody clears the enable bit of the interrupt */
            interrupt_on = false;
            meddled = true;
            break;
        case 'u': /* power-up: what the ring still held is lost */
            interrupt_on = transmitting = false;
            memset(&play, 0, sizeof play);
            if (!(playlog_init)(&play, &schema, values, ring, ring_bytes, interrupts ? &by_interrupt : &by_polling,
                                (uint16_t)number())) {
                return 3;
            }
            break;
        case 'e':
            tag = number();
            width = number();
            if (fread(fields + PLAYLOG_HEAD_ROOM, 1, width, stdin) != width) {
                return 1;
            }
            playlog_event(&play, (uint8_t)tag, fields + PLAYLOG_HEAD_ROOM, (uint8_t)width);
            break;
        case 'p':
            playlog_poll(&play);
            break;
        case 's':
            i = number();
            values[i] = (int32_t)number();
            playlog_settings_changed(&play);
            break;
        case 'f':
            playlog_flush(&play);
            break;
        case 'd':
            drain(&play, interrupts, number());
            break;
        default:
            return 1;
        }
        if (locked) {
            return 4;
        }
    }
    return 0;
}
