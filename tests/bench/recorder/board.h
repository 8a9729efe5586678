/* What the encoders of the benchmark stand on: a clock that the test sets, the interrupt lock of a Cortex-M, and a
 * UART of three registers that the test watches. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#define UART_DATA (*(volatile uint32_t *)0x40004000u)
#define UART_INTERRUPT (*(volatile uint32_t *)0x40004004u)

extern volatile uint32_t board_now;

static inline uint32_t now(void) { return board_now; }

static inline uint32_t lock(void)
{
    uint32_t was;
    __asm volatile("mrs %0, primask\n\tcpsid i" : "=r"(was)::"memory");
    return was;
}

static inline void unlock(uint32_t was) { __asm volatile("msr primask, %0" ::"r"(was) : "memory"); }

#endif
