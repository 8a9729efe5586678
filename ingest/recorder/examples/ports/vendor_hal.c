/* A vendor's HAL, by its interrupt: it says when a byte has gone, and the next one follows. */
#include "vendor_hal.h"
#include "lantern.h"
#include "log_port.h"

extern UART_HandleTypeDef huart2;
static uint8_t next;
static bool refused; /* the HAL was in the middle of something: playlog_poll() has it tried again */

static uint32_t lock(void) { uint32_t was = __get_PRIMASK(); __disable_irq(); return was; }
static void unlock(uint32_t was) { __set_PRIMASK(was); }
static void start(void) { refused = HAL_UART_Transmit_IT(&huart2, &next, 1) != HAL_OK; }
static void send(uint8_t byte) { next = byte; start(); }
static void enable_interrupt(bool on) { if (on && refused) start(); }

const struct playlog_port log_port = {lantern_ms, lock, unlock, send, enable_interrupt};
void log_port_send(void) {}
void HAL_UART_TxCpltCallback(UART_HandleTypeDef *uart) { if (uart == &huart2) playlog_on_transmitter_empty(&play); }
