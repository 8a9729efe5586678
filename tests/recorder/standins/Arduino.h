/* Stands in for the header of the Arduino core: what the port calls. */
#ifndef ARDUINO_H
#define ARDUINO_H

#include <stddef.h>
#include <stdint.h>

unsigned long millis();

class HardwareSerial {
public:
    int availableForWrite();
    size_t write(uint8_t byte);
};
extern HardwareSerial Serial;

#endif
