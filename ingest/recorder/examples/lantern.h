/* What the console of these examples, the Lantern, gives its games. Your own console has the like: put its functions in
 * their place. */
#ifndef LANTERN_H
#define LANTERN_H

#include <stdint.h>

enum { BUTTON_LEFT = 1, BUTTON_RIGHT = 2, BUTTON_A = 4 };

void lantern_start(void);

/* Milliseconds since power-up, to 2^32 and on from 0. May be called in interrupts. */
uint32_t lantern_ms(void);

/* The buttons that are down now, added. */
uint8_t lantern_buttons(void);

/* From now on `down` is called in the buttons' interrupt, at the moment one goes down. */
void lantern_on_button(void (*down)(uint8_t button));

/* Draws a filled box, in pixels from the left and from the top. */
void lantern_box(uint8_t x, uint8_t y, uint8_t width, uint8_t height, uint8_t colour);

/* Shows what was drawn, and waits for the next frame: 50 a second. */
void lantern_show(void);

/* How often the console was turned on: a counter in flash. */
uint16_t lantern_power_ups(void);

#endif
