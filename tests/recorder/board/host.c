/* The board on the PC: time passes only while the game waits; the line goes to standard output. */
#include "board.h"

#include <stdio.h>

static uint32_t ticks, room;
static bool interrupt_on, full;

uint32_t board_now(void) { return ticks; }
uint32_t board_lock(void) { return 0; }
void board_unlock(uint32_t was) { (void)was; }
void board_start(void) { room = 11; }
void board_enable_interrupt(bool on) { interrupt_on = on; }
bool board_can_take_a_byte(void) { return room != 0; }

void board_send(uint8_t byte)
{
    putchar(byte);
    full = true;
    room--;
}

void board_wait(uint32_t until, void (*idle)(void))
{
    unsigned spins;

    while (ticks < until) {
        while (interrupt_on && full && room != 0) {
            full = false;
            game_transmitter_empty();
        }
        for (spins = 0; spins < 11; spins++) {
            idle();
        }
        ticks++;
        room = 11;
        game_tick(ticks);
    }
}
