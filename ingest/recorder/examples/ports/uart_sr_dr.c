/* The older UARTs, with SR and DR in CMSIS headers, by interrupt. The game sets UART, pins and NVIC up. */
#include "device.h"
#include "lantern.h"
#include "log_port.h"

static uint32_t lock(void) { uint32_t was = __get_PRIMASK(); __disable_irq(); return was; }
static void unlock(uint32_t was) { __set_PRIMASK(was); }
static void send(uint8_t byte) { USART2->DR = byte; }
static void enable_interrupt(bool on) { if (on) USART2->CR1 |= USART_CR1_TXEIE; else USART2->CR1 &= ~USART_CR1_TXEIE; }

const struct playlog_port log_port = {lantern_ms, lock, unlock, send, enable_interrupt};
void log_port_send(void) {}

void USART2_IRQHandler(void)
{
    if ((USART2->CR1 & USART_CR1_TXEIE) && (USART2->SR & USART_SR_TXE)) playlog_on_transmitter_empty(&play);
}
