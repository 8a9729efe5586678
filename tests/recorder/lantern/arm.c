/* The Lantern on an emulated Cortex-M4, started by ../board/board.c. Its port is semihosting, which needs no line. */
#include "board.h"
#include "machine.h"

void game_transmitter_empty(void) {}
void game_tick(uint32_t now) { (void)now; }
void machine_start(void) {}
void machine_wait_for_idle_line(void) {}

void machine_end(void)
{
    register uint32_t operation __asm("r0") = 0x18; /* SYS_EXIT */
    register uint32_t reason __asm("r1") = 0x20026; /* ADP_Stopped_ApplicationExit */

    __asm volatile("bkpt 0xAB" ::"r"(operation), "r"(reason) : "memory");
}
