/* On the PC, what ports by polling call: each line takes 63 bytes a frame. */
#include "hardware/sync.h"
#include "hardware/uart.h"
#include "lantern.h"
#include "machine.h"
#include "pico/time.h"
#include "tusb.h"

#include <stddef.h>
#include <stdio.h>

static uint32_t room = 63;

static uint32_t put(char byte)
{
    if (room == 0) {
        return 0; /* and the byte is lost */
    }
    putchar((uint8_t)byte);
    room--;
    return 1;
}

void machine_wait_for_idle_line(void) { room = 63; }

uart_inst_t *const uart0 = NULL;
bool uart_is_writable(uart_inst_t *uart) { return uart == uart0 && room > 0; }
void uart_putc_raw(uart_inst_t *uart, char c) { (void)uart, (void)put(c); }
uint32_t save_and_disable_interrupts(void) { return 0; }
void restore_interrupts(uint32_t was) { (void)was; }
absolute_time_t get_absolute_time(void) { return lantern_ms() * 1000ull; }
uint32_t to_ms_since_boot(absolute_time_t time) { return (uint32_t)(time / 1000); }

bool tud_cdc_connected(void) { return true; }
uint32_t tud_cdc_write_available(void) { return room; }
uint32_t tud_cdc_write_char(char byte) { return put(byte); }
uint32_t tud_cdc_write_flush(void) { return 0; }

/* For pc_serial.cpp. */
uint32_t line_room(void);
uint32_t line_put(char byte);
uint32_t line_room(void) { return room; }
uint32_t line_put(char byte) { return put(byte); }
