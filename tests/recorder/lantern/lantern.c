/* The Lantern of the tests. Its time passes only in lantern_show(), and not before the line is idle, so that a game
 * logs the same on every machine. What is pressed follows from the time alone. */
#include "lantern.h"

#include "machine.h"

enum { FRAME_MS = 20 };
#ifndef FRAMES
#define FRAMES 4000
#endif

static volatile uint32_t ms;
static uint32_t frames;
static void (*on_button)(uint8_t button);

/* A number of 0 to 255 that looks like chance. */
static uint8_t chance(uint32_t of)
{
    of = (of + 1u) * 2654435761u;
    of ^= of >> 15;
    of *= 2246822519u;
    return (uint8_t)(of >> 24);
}

void lantern_start(void) { machine_start(); }
uint32_t lantern_ms(void) { return ms; }
uint16_t lantern_power_ups(void) { return 7; }
void lantern_on_button(void (*down)(uint8_t button)) { on_button = down; }

uint8_t lantern_buttons(void)
{
    const uint8_t now = chance(ms / 240u);

    return now < 150 ? BUTTON_RIGHT : now < 200 ? BUTTON_LEFT : now < 215 ? BUTTON_A : 0;
}

void lantern_box(uint8_t x, uint8_t y, uint8_t width, uint8_t height, uint8_t colour)
{
    (void)x, (void)y, (void)width, (void)height, (void)colour;
}

/* A button goes down about every 160 ms, up to 64 ms early or late. */
static void press(void)
{
    const uint32_t beat = (ms + 80u) / 160u;
    const uint32_t at = beat * 160u + chance(beat) / 2u - 64u;

    if (on_button != 0 && ms == at) {
        on_button(chance(beat + 1000u) < 128 ? BUTTON_LEFT : BUTTON_A);
    }
}

void lantern_show(void)
{
    uint8_t n;

    for (n = 0; n < FRAME_MS; n++) {
        ms++;
        press();
    }
    machine_wait_for_idle_line();
    if (++frames == FRAMES) {
        machine_end();
    }
}
