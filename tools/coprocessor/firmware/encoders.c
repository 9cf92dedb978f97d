#include "encoders.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"

#define PINS (_BV(ENCODER_LEFT_A) | _BV(ENCODER_LEFT_B) | _BV(ENCODER_RIGHT_A) | _BV(ENCODER_RIGHT_B))

static volatile struct encoder_counts counts;
static uint8_t last_left, last_right;

/* The two channels of an encoder as 0 to 3. */
static inline uint8_t levels(uint8_t port, uint8_t a, uint8_t b)
{
    return (uint8_t)((port >> a & 1U) << 1 | (port >> b & 1U));
}

#if ENCODER_B_IS_DIRECTION
static inline int8_t step(uint8_t before, uint8_t now)
{
    if (((before ^ now) & 2U) == 0)
        return 0;
    return now & 1U ? -1 : 1;
}
#else
/* Forwards the levels AB go 00, 10, 11, 01. A jump of two has no direction and counts nothing. */
static inline int8_t step(uint8_t before, uint8_t now)
{
    static const int8_t steps[16] = {0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0};
    return steps[before << 2 | now];
}
#endif

void encoders_start(void)
{
    PORTD |= PINS; /* pull-ups, for encoders with open collectors */
    last_left = levels(PIND, ENCODER_LEFT_A, ENCODER_LEFT_B);
    last_right = levels(PIND, ENCODER_RIGHT_A, ENCODER_RIGHT_B);
    PCMSK2 = PINS;
    PCICR |= _BV(PCIE2);
}

ISR(PCINT2_vect)
{
    uint8_t port = PIND;
    uint8_t left = levels(port, ENCODER_LEFT_A, ENCODER_LEFT_B);
    uint8_t right = levels(port, ENCODER_RIGHT_A, ENCODER_RIGHT_B);
    counts.left += step(last_left, left);
    counts.right += step(last_right, right);
    last_left = left;
    last_right = right;
}

struct encoder_counts encoders_read(void)
{
    struct encoder_counts copy;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        copy.left = counts.left;
        copy.right = counts.right;
    }
    return copy;
}
