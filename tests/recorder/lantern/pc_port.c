/* The PC's own port: the line is standard output. */
#include "lantern.h"
#include "log_port.h"
#include "machine.h"

#include <stdio.h>

static uint32_t lock(void) { return 0; }
static void unlock(uint32_t was) { (void)was; }
const struct playlog_port log_port = {lantern_ms, lock, unlock, NULL, NULL};

void log_port_send(void)
{
    int byte;

    while ((byte = playlog_next_byte(&play)) >= 0) {
        putchar(byte);
    }
}

void machine_wait_for_idle_line(void) { log_port_send(); }
