/* The Lantern on the FE310, a RISC-V microcontroller (FE310-G002 Manual: memory map, PLIC, UART). Interrupts come
 * through the PLIC; the emulation is left by semihosting (RISC-V Semihosting, the three instructions around ebreak). */
#include <stdint.h>

#include "machine.h"

#define UART0_TXCTRL (*(volatile uint32_t *)0x10013008u)
#define UART0_IE (*(volatile uint32_t *)0x10013010u)
#define PLIC_PRIORITY ((volatile uint32_t *)0x0C000000u)
#define PLIC_ENABLE (*(volatile uint32_t *)0x0C002000u)
#define PLIC_THRESHOLD (*(volatile uint32_t *)0x0C200000u)
#define PLIC_CLAIM (*(volatile uint32_t *)0x0C200004u)
enum { UART0 = 3, TXEN = 1, TXCNT_1 = 1 << 16, MSTATUS_MIE = 8, MIE_MEIE = 1 << 11 };

void uart0_interrupt(void);
void start(void);
int main(void);

static void __attribute__((interrupt, aligned(4))) trap(void)
{
    const uint32_t which = PLIC_CLAIM;

    if (which == UART0) {
        uart0_interrupt();
    }
    PLIC_CLAIM = which;
}

void machine_start(void)
{
    UART0_TXCTRL = TXEN | TXCNT_1;
    PLIC_PRIORITY[UART0] = 1;
    PLIC_THRESHOLD = 0;
    PLIC_ENABLE = 1u << UART0;
    __asm volatile("csrw mtvec, %0" ::"r"(trap));
    __asm volatile("csrs mie, %0" ::"r"(MIE_MEIE));
    __asm volatile("csrsi mstatus, %0" ::"i"(MSTATUS_MIE));
}

void machine_wait_for_idle_line(void)
{
    while ((UART0_IE & 1u) != 0) {
    }
}

void machine_end(void)
{
    register uint32_t operation __asm("a0") = 0x18;  /* SYS_EXIT */
    register uint32_t reason __asm("a1") = 0x20026;  /* ADP_Stopped_ApplicationExit */

    __asm volatile(".option push\n .option norvc\n slli zero, zero, 0x1f\n ebreak\n srai zero, zero, 7\n .option pop"
                   ::"r"(operation), "r"(reason) : "memory");
}

/* Where the boot code jumps to. The loader has put .data into RAM and cleared .bss. */
void __attribute__((naked, section(".start"), used)) start(void)
{
    __asm volatile("la sp, stack_top\n j main");
}
