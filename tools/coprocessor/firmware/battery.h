/* Battery voltage at the divider. */
#ifndef FIRMWARE_BATTERY_H
#define FIRMWARE_BATTERY_H

#include <stdint.h>

void battery_start(void);
uint16_t battery_millivolts(void); /* mean of 16 conversions, under 2 ms */

#endif
