// On the PC, what the port for an Arduino-style Serial calls.
#include <Arduino.h>

extern "C" {
uint32_t lantern_ms(void);
uint32_t line_room(void);
uint32_t line_put(char byte);
}

HardwareSerial Serial;
unsigned long millis() { return lantern_ms(); }
int HardwareSerial::availableForWrite() { return static_cast<int>(line_room()); }
size_t HardwareSerial::write(uint8_t byte) { return line_put(static_cast<char>(byte)); }
