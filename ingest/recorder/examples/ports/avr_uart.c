/* An AVR with USART0, by interrupt. The game sets the baud, calls sei(), and reads its clock's four bytes with
 * interrupts off. At 16 MHz 115200 baud come out 3.5 % too slow or 2.1 % too fast. UBRR0 = 25 is 38400 but for 0.2 %:
 * take that, and `setscrew record --baud 38400`. Its 3,840 bytes a second are plenty for a small game.
 * At 5 V its TX is too much for an adapter of 3.3 V: see WIRING.md. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include "lantern.h"
#include "log_port.h"

static uint32_t lock(void) { uint8_t was = SREG; cli(); return was; }
static void unlock(uint32_t was) { SREG = (uint8_t)was; }
static void send(uint8_t byte) { UDR0 = byte; }
static void enable_interrupt(bool on) { UCSR0B = (uint8_t)(on ? 1 << TXEN0 | 1 << UDRIE0 : 1 << TXEN0); }

#ifndef USART_UDRE_vect /* parts with more than one USART */
#define USART_UDRE_vect USART0_UDRE_vect
#endif
const struct playlog_port log_port = {lantern_ms, lock, unlock, send, enable_interrupt};
void log_port_send(void) {}
ISR(USART_UDRE_vect) { playlog_on_transmitter_empty(&play); }
