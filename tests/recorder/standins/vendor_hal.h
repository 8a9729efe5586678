/* Stands in for the header of a vendor's HAL: what the ports call. */
#ifndef VENDOR_HAL_H
#define VENDOR_HAL_H

#include "device.h"

typedef enum { HAL_OK, HAL_ERROR, HAL_BUSY } HAL_StatusTypeDef;
typedef enum { HAL_UART_STATE_READY = 0x20, HAL_UART_STATE_BUSY_TX = 0x21 } HAL_UART_StateTypeDef;
typedef struct {
    volatile HAL_UART_StateTypeDef gState;
} UART_HandleTypeDef;

HAL_StatusTypeDef HAL_UART_Transmit_IT(UART_HandleTypeDef *uart, const uint8_t *bytes, uint16_t count);
HAL_StatusTypeDef HAL_UART_Transmit_DMA(UART_HandleTypeDef *uart, const uint8_t *bytes, uint16_t count);
void HAL_UART_TxCpltCallback(UART_HandleTypeDef *uart);

#endif
