// An Arduino-style Serial, by polling: it has a buffer of its own. Serial.begin(115200) first; print nothing to it.
#include <Arduino.h>
#include "log_port.h"

// Nothing logs in interrupts here. If yours do, lock() has to turn them off and unlock() to put them back as they were.
static uint32_t now() { return (uint32_t)millis(); }
static uint32_t lock() { return 0; }
static void unlock(uint32_t) {}
const struct playlog_port log_port = {now, lock, unlock, NULL, NULL};

void log_port_send(void)
{
    int byte;
    while (Serial.availableForWrite() > 0 && (byte = playlog_next_byte(&play)) >= 0) Serial.write((uint8_t)byte);
}
