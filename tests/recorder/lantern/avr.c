/* The Lantern on an AVR. */
#include "machine.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

void machine_start(void)
{
    UBRR0 = 3; /* 250000 baud at 16 MHz */
    UCSR0B = 1 << TXEN0;
    sei();
}

void machine_wait_for_idle_line(void)
{
    while ((UCSR0B & (1 << UDRIE0)) != 0) {
    }
}

void machine_end(void)
{
    while ((UCSR0A & (1 << UDRE0)) == 0) {
    }
    cli();
    sleep_enable();
    sleep_cpu();
}
