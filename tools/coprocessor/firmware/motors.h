/* Two motor channels, each with a PWM pin and two direction pins. */
#ifndef FIRMWARE_MOTORS_H
#define FIRMWARE_MOTORS_H

#include <stdint.h>

void motors_start(void);

/* Per mille, -1000 to 1000. Zero: all pins low. Short enough for an interrupt. */
void motors_set(int16_t left, int16_t right);

#endif
