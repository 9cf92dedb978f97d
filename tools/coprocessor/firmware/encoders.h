/* Wheel encoders, counted in the pin-change interrupt. */
#ifndef FIRMWARE_ENCODERS_H
#define FIRMWARE_ENCODERS_H

#include <stdint.h>

struct encoder_counts {
    int32_t left, right;
};

void encoders_start(void);
struct encoder_counts encoders_read(void);

#endif
