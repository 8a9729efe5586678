/* Stands in for the header of a Pico-style SDK: what the port calls. */
#ifndef HARDWARE_SYNC_H
#define HARDWARE_SYNC_H

#include <stdint.h>

uint32_t save_and_disable_interrupts(void);
void restore_interrupts(uint32_t was);

#endif
