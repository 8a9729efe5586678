/* A UART on the PC: one byte in the transmitter, and its interrupt while it is empty and the bit is on. */
#include "device.h"
#include "machine.h"

#include <stdio.h>

enum { EMPTY = 0x100 };
#ifdef UART_HAS_TDR
USART_TypeDef usart2 = {.ISR = USART_ISR_TXE, .TDR = EMPTY};
#define TRANSMITTER usart2.TDR
#else
USART_TypeDef usart2 = {.SR = USART_SR_TXE, .DR = EMPTY};
#define TRANSMITTER usart2.DR
#endif

void machine_wait_for_idle_line(void)
{
    while ((usart2.CR1 & USART_CR1_TXEIE) != 0) {
        if (TRANSMITTER != EMPTY) {
            putchar((int)TRANSMITTER);
            TRANSMITTER = EMPTY;
        }
        USART2_IRQHandler();
    }
}
