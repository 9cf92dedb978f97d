/* The orientation sensor on the simulated board's two-wire bus. */
#ifndef SIMULATE_SENSOR_H
#define SIMULATE_SENSOR_H

#include <simavr/sim_avr.h>

/* Puts the sensor on the bus of a chip. */
void connect_sensor(avr_t *avr);

/* Sets a byte that the sensor answers; registers are counted from 0 to 255. */
void set_sensor(unsigned at, unsigned value);

#endif
