/* Registers of a device on the two-wire interface, at 100 kHz. Each wait has an end; returns 1 on success. */
#ifndef FIRMWARE_TWO_WIRE_H
#define FIRMWARE_TWO_WIRE_H

#include <stdint.h>

void two_wire_start(void);
uint8_t two_wire_read(uint8_t address, uint8_t from, uint8_t *to, uint8_t count);
uint8_t two_wire_write(uint8_t address, uint8_t to, uint8_t value);

#endif
