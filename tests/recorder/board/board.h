/* The parts of a board that a console needs: a clock, the interrupt lock, a UART. board.c is the emulated one, host.c
 * stands in for it on the PC. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

/* Milliseconds since reset, counted by SysTick. */
uint32_t board_now(void);
uint32_t board_lock(void);
void board_unlock(uint32_t was);

/* The UART at 115200 baud. QEMU takes bytes as fast as they come, so the board itself keeps to what that baud carries:
 * 11 bytes each millisecond. */
void board_start(void);
void board_send(uint8_t byte);
void board_enable_interrupt(bool on);
bool board_can_take_a_byte(void);

/* Until that many milliseconds since reset; calls idle() again and again meanwhile. */
void board_wait(uint32_t ticks, void (*idle)(void));

/* What the game gives the board: called in the transmitter's interrupt, and each millisecond in SysTick's. */
void game_transmitter_empty(void);
void game_tick(uint32_t now);

#endif
