/* A serial port over the part's own USB, with the calls of TinyUSB, by polling. The main loop calls tud_task() too. */
#include "tusb.h"
#include "lantern.h"
#include "log_port.h"

/* Nothing logs in interrupts here. If yours do, lock() must turn them off, and unlock() put them back as they were. */
static uint32_t lock(void) { return 0; }
static void unlock(uint32_t was) { (void)was; }
const struct playlog_port log_port = {lantern_ms, lock, unlock, NULL, NULL};

void log_port_send(void)
{
    int byte;
    if (!tud_cdc_connected()) return; /* the ring fills meanwhile, and what finds no room is counted */
    while (tud_cdc_write_available() > 0 && (byte = playlog_next_byte(&play)) >= 0) tud_cdc_write_char((char)byte);
    tud_cdc_write_flush();
}
