/* Where the robot points. heading.c reads an absolute-orientation sensor; another source offers the same function. */
#ifndef FIRMWARE_HEADING_H
#define FIRMWARE_HEADING_H

#include <stdint.h>

struct heading {
    uint16_t cdeg; /* hundredths of a degree, 0 to 35999, clockwise from north */
    int32_t cdps;  /* hundredths of a degree a second, clockwise positive */
    uint8_t calibration; /* 0 to 3 */
};

void heading_start(void);

/* Returns 0 when there is no heading now. Takes a few milliseconds at the most. */
uint8_t heading_read(struct heading *heading);

#endif
