/* A vendor's HAL on the PC. Every 97th call finds it busy, as calls do that come while another one works. */
#include "machine.h"
#include "vendor_hal.h"

#include <stdio.h>

UART_HandleTypeDef huart2 = {HAL_UART_STATE_READY};

static HAL_StatusTypeDef transmit(UART_HandleTypeDef *uart, const uint8_t *bytes, uint16_t count)
{
    static unsigned calls;

    if (++calls % 97 == 0 || uart->gState != HAL_UART_STATE_READY) {
        return HAL_BUSY;
    }
    uart->gState = HAL_UART_STATE_BUSY_TX;
    (void)fwrite(bytes, 1, count, stdout);
    return HAL_OK;
}

HAL_StatusTypeDef HAL_UART_Transmit_DMA(UART_HandleTypeDef *uart, const uint8_t *bytes, uint16_t count)
{
    return transmit(uart, bytes, count);
}

#ifdef BY_DMA
void HAL_UART_TxCpltCallback(UART_HandleTypeDef *uart) { (void)uart; }
#else
HAL_StatusTypeDef HAL_UART_Transmit_IT(UART_HandleTypeDef *uart, const uint8_t *bytes, uint16_t count)
{
    return transmit(uart, bytes, count);
}
#endif

void machine_wait_for_idle_line(void)
{
    while (huart2.gState != HAL_UART_STATE_READY) {
        huart2.gState = HAL_UART_STATE_READY;
        HAL_UART_TxCpltCallback(&huart2);
    }
}
