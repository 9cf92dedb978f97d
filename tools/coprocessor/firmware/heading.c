#include "heading.h"

#include "board.h"
#include "two_wire.h"

#define FULL_CIRCLE_CDEG 36000L

static uint16_t word(const uint8_t *bytes)
{
    return (uint16_t)((uint16_t)bytes[1] << 8 | bytes[0]);
}

/* A sensor that has lost its mode has restarted, and what it holds is no heading yet. */
static uint8_t is_in_mode(void)
{
    uint8_t mode;
    if (!two_wire_read(HEADING_ADDRESS, HEADING_MODE_REGISTER, &mode, 1))
        return 0;
    if (mode != HEADING_MODE)
        two_wire_write(HEADING_ADDRESS, HEADING_MODE_REGISTER, HEADING_MODE);
    return mode == HEADING_MODE;
}

void heading_start(void)
{
    two_wire_start();
}

uint8_t heading_read(struct heading *heading)
{
    uint8_t angle[2], rate[2], calibration;
    if (!is_in_mode() || !two_wire_read(HEADING_ADDRESS, HEADING_REGISTER, angle, 2) ||
        !two_wire_read(HEADING_ADDRESS, HEADING_RATE_REGISTER, rate, 2) ||
        !two_wire_read(HEADING_ADDRESS, HEADING_CALIBRATION_REGISTER, &calibration, 1))
        return 0;
    heading->cdeg = (uint16_t)((int32_t)word(angle) * 100L / HEADING_STEPS_A_DEGREE % FULL_CIRCLE_CDEG);
    heading->cdps = (int32_t)(int16_t)word(rate) * 100L / HEADING_RATE_STEPS_A_DEGREE;
    heading->calibration = calibration >> HEADING_CALIBRATION_SHIFT & 3U;
    return 1;
}
