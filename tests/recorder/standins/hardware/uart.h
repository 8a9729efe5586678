/* Stands in for the header of a Pico-style SDK: what the port calls. */
#ifndef HARDWARE_UART_H
#define HARDWARE_UART_H

#include <stdbool.h>

typedef struct uart_inst uart_inst_t;
extern uart_inst_t *const uart0;

bool uart_is_writable(uart_inst_t *uart);
void uart_putc_raw(uart_inst_t *uart, char c);

#endif
