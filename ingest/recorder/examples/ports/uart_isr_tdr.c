/* The newer UARTs, with ISR and TDR in CMSIS headers, by interrupt.
 * Headers of parts with a FIFO in the UART call the bit USART_ISR_TXE_TXFNF. The game sets UART, pins and NVIC up. */
#include "device.h"
#include "lantern.h"
#include "log_port.h"

static uint32_t lock(void) { uint32_t was = __get_PRIMASK(); __disable_irq(); return was; }
static void unlock(uint32_t was) { __set_PRIMASK(was); }
static void send(uint8_t byte) { USART2->TDR = byte; }
static void enable_interrupt(bool on) { if (on) USART2->CR1 |= USART_CR1_TXEIE; else USART2->CR1 &= ~USART_CR1_TXEIE; }

const struct playlog_port log_port = {lantern_ms, lock, unlock, send, enable_interrupt};
void log_port_send(void) {}

void USART2_IRQHandler(void)
{
    if ((USART2->CR1 & USART_CR1_TXEIE) && (USART2->ISR & USART_ISR_TXE)) playlog_on_transmitter_empty(&play);
}
