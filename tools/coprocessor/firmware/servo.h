/* Gripper servo: a pulse every 20 ms, its width made by a timer. */
#ifndef FIRMWARE_SERVO_H
#define FIRMWARE_SERVO_H

#include <stdint.h>

void servo_start(void);

/* Pulse width in us; 0: no pulses. Short enough for an interrupt. */
void servo_set(uint16_t pulse_us);

#endif
