/* A Pico-style SDK, by polling: the UART has a FIFO of 32 bytes. uart_init(uart0, 115200) first, and its pins. */
#include "hardware/sync.h"
#include "hardware/uart.h"
#include "pico/time.h"
#include "log_port.h"

static uint32_t now(void) { return to_ms_since_boot(get_absolute_time()); } /* not us / 1000, which goes back */
static uint32_t lock(void) { return save_and_disable_interrupts(); }
static void unlock(uint32_t was) { restore_interrupts(was); }
const struct playlog_port log_port = {now, lock, unlock, NULL, NULL}; /* for a game on one core */

void log_port_send(void)
{
    int byte;
    while (uart_is_writable(uart0) && (byte = playlog_next_byte(&play)) >= 0) uart_putc_raw(uart0, (char)byte);
}
