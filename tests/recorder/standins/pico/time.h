/* Stands in for the header of a Pico-style SDK: what the port calls. */
#ifndef PICO_TIME_H
#define PICO_TIME_H

#include <stdint.h>

typedef uint64_t absolute_time_t;

absolute_time_t get_absolute_time(void);
uint32_t to_ms_since_boot(absolute_time_t time);

#endif
