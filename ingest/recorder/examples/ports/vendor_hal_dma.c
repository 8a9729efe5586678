/* A vendor's HAL, by DMA: in each frame, whatever there is. 256 bytes are more than 115200 baud carry in a frame. */
#include "vendor_hal.h"
#include "lantern.h"
#include "log_port.h"

extern UART_HandleTypeDef huart2;
static uint8_t chunk[256]; /* where the DMA can read it; with a data cache, in memory that is not cached */

static uint32_t lock(void) { uint32_t was = __get_PRIMASK(); __disable_irq(); return was; }
static void unlock(uint32_t was) { __set_PRIMASK(was); }
const struct playlog_port log_port = {lantern_ms, lock, unlock, NULL, NULL};

void log_port_send(void)
{
    static uint16_t count;
    int byte;

    if (huart2.gState != HAL_UART_STATE_READY) return; /* the last ones are still going out */
    while (count < sizeof chunk && (byte = playlog_next_byte(&play)) >= 0) chunk[count++] = (uint8_t)byte;
    if (count != 0 && HAL_UART_Transmit_DMA(&huart2, chunk, count) == HAL_OK) count = 0;
}
