/* RISC-V with the UART and interrupt controller (PLIC) of the FE310, by interrupt. The game sets the baud and both
 * `txen` and `txcnt` = 1 in txctrl, gives interrupt 3 a priority, and calls this handler from its trap for it. */
#include "lantern.h"
#include "log_port.h"

#define UART0_TXDATA (*(volatile uint32_t *)0x10013000u)
#define UART0_IE (*(volatile uint32_t *)0x10013010u)
enum { MSTATUS_MIE = 8, TXWM = 1 };

static uint32_t lock(void) { uint32_t was; __asm volatile("csrrci %0, mstatus, 8" : "=r"(was)::"memory"); return was; }
static void unlock(uint32_t was) { __asm volatile("csrs mstatus, %0" ::"r"(was & MSTATUS_MIE) : "memory"); }
static void send(uint8_t byte) { UART0_TXDATA = byte; }
static void enable_interrupt(bool on) { UART0_IE = on ? TXWM : 0; }

const struct playlog_port log_port = {lantern_ms, lock, unlock, send, enable_interrupt};
void log_port_send(void) {}
void uart0_interrupt(void);
void uart0_interrupt(void) { playlog_on_transmitter_empty(&play); }
