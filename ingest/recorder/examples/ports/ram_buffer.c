/* No line at all: the log stays in RAM until it is full, and a debugger reads it afterwards:
 *   (gdb) dump binary memory game.playlog kept kept+sizeof(kept)
 * The file goes into `setscrew ingest` as it is; what is empty at its end does not matter. */
#include "lantern.h"
#include "log_port.h"

#ifndef KEPT_BYTES
#define KEPT_BYTES 16384 /* three minutes of Damp Cellars */
#endif
uint8_t kept[KEPT_BYTES];
uint32_t kept_bytes;

static uint32_t lock(void) { return 0; } /* nothing logs in interrupts here */
static void unlock(uint32_t was) { (void)was; }
const struct playlog_port log_port = {lantern_ms, lock, unlock, NULL, NULL};

void log_port_send(void)
{
    int byte;
    while (kept_bytes < sizeof kept && (byte = playlog_next_byte(&play)) >= 0) kept[kept_bytes++] = (uint8_t)byte;
}
