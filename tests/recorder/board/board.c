#include "board.h"

enum { CORE_HZ = 25000000, TICKS_PER_SECOND = 1000, BYTES_PER_TICK = 11 };

/* Cortex-M4 (Armv7-M Architecture Reference Manual, B3). */
#define SYSTICK_CONTROL (*(volatile uint32_t *)0xE000E010u)
#define SYSTICK_RELOAD (*(volatile uint32_t *)0xE000E014u)
#define SYSTICK_VALUE (*(volatile uint32_t *)0xE000E018u)
#define NVIC_ENABLE (*(volatile uint32_t *)0xE000E100u)
#define NVIC_DISABLE (*(volatile uint32_t *)0xE000E180u)
#define NVIC_PEND (*(volatile uint32_t *)0xE000E200u)
#define NVIC_PRIORITY ((volatile uint8_t *)0xE000E400u)
#define SYSTEM_PRIORITY ((volatile uint8_t *)0xE000ED18u)

/* The CMSDK APB UART (Cortex-M System Design Kit Technical Reference Manual, 4.3). UART 0 interrupts: 0 for its
 * receiver, 1 for its transmitter. */
#define UART_DATA (*(volatile uint32_t *)0x40004000u)
#define UART_STATE (*(volatile uint32_t *)0x40004004u)
#define UART_CONTROL (*(volatile uint32_t *)0x40004008u)
#define UART_INTERRUPT (*(volatile uint32_t *)0x4000400Cu)
#define UART_DIVIDER (*(volatile uint32_t *)0x40004010u)
enum { TRANSMITTER_FULL = 1, TRANSMITTER_ON = 1, TRANSMITTER_INTERRUPT = 4, TRANSMITTER_REASON = 1 };
#define TRANSMITTER_LINE (1u << 1)

static volatile uint32_t ticks;
static volatile bool sent; /* since the interrupt was last turned off */
static volatile uint32_t room; /* bytes that the baud still allows in this millisecond */

uint32_t board_now(void) { return ticks; }

uint32_t board_lock(void)
{
    uint32_t was;
    __asm volatile("mrs %0, primask\n\tcpsid i" : "=r"(was)::"memory");
    return was;
}

void board_unlock(uint32_t was) { __asm volatile("msr primask, %0" ::"r"(was) : "memory"); }

void board_send(uint8_t byte)
{
    if (--room == 0u) {
        NVIC_DISABLE = TRANSMITTER_LINE; /* until the next millisecond */
    }
    UART_DATA = byte;
    sent = true;
}

void board_enable_interrupt(bool on)
{
    UART_CONTROL = on ? (TRANSMITTER_ON | TRANSMITTER_INTERRUPT) : TRANSMITTER_ON;
    /* This UART raises its interrupt at the moment when it becomes empty, and the emulator's is empty at once: a byte that
     * was sent before the interrupt was turned on would leave none behind. */
    if (on && sent && (UART_STATE & TRANSMITTER_FULL) == 0u) {
        NVIC_PEND = TRANSMITTER_LINE;
    }
    sent = sent && on;
}

bool board_can_take_a_byte(void) { return room != 0u && (UART_STATE & TRANSMITTER_FULL) == 0u; }

static void transmitter_interrupt(void)
{
    UART_INTERRUPT = TRANSMITTER_REASON;
    if ((UART_STATE & TRANSMITTER_FULL) == 0u) {
        game_transmitter_empty();
    }
}

static void systick_interrupt(void)
{
    ticks++;
    room = BYTES_PER_TICK;
    NVIC_ENABLE = TRANSMITTER_LINE;
    game_tick(ticks);
}

void board_start(void)
{
    UART_DIVIDER = CORE_HZ / 115200;
    UART_CONTROL = TRANSMITTER_ON;
    NVIC_PRIORITY[1] = 0x80;     /* the transmitter may be interrupted ... */
    SYSTEM_PRIORITY[11] = 0x40;  /* ... by SysTick (exception 15), which logs too */
    room = BYTES_PER_TICK;
    NVIC_ENABLE = TRANSMITTER_LINE;
    SYSTICK_RELOAD = CORE_HZ / TICKS_PER_SECOND - 1;
    SYSTICK_VALUE = 0;
    SYSTICK_CONTROL = 7;
}

void board_wait(uint32_t until, void (*idle)(void))
{
    while (ticks < until) {
        idle();
    }
}

static void end_emulation(void)
{
    /* Semihosting, SYS_EXIT with ADP_Stopped_ApplicationExit (Arm semihosting specification). */
    register uint32_t operation __asm("r0") = 0x18;
    register uint32_t reason __asm("r1") = 0x20026;
    __asm volatile("bkpt 0xAB" ::"r"(operation), "r"(reason) : "memory");
}

extern uint32_t data_start, data_end, data_load, bss_start, bss_end, stack_top;
extern int main(void);
void reset(void);

void reset(void)
{
    const uint32_t *from = &data_load;
    uint32_t *to;

    for (to = &data_start; to < &data_end; to++) {
        *to = *from++;
    }
    for (to = &bss_start; to < &bss_end; to++) {
        *to = 0;
    }
    (void)main();
    end_emulation();
}

static void stop(void)
{
    for (;;) {
    }
}

__attribute__((section(".vectors"), used)) static void (*const vectors[16 + 2])(void) = {
    (void (*)(void))&stack_top, reset, stop, stop, stop, stop, stop, 0, 0, 0, 0, stop, stop, 0, stop,
    systick_interrupt, stop, transmitter_interrupt,
};
