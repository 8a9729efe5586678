/* Stands in for the header of TinyUSB: what the port calls. */
#ifndef TUSB_H
#define TUSB_H

#include <stdbool.h>
#include <stdint.h>

bool tud_cdc_connected(void);
uint32_t tud_cdc_write_available(void);
uint32_t tud_cdc_write_char(char byte);
uint32_t tud_cdc_write_flush(void);

#endif
