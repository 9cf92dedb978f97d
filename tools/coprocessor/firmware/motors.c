#include "motors.h"

#include <avr/io.h>

#define LEFT_FORWARDS _BV(0) /* port B */
#define LEFT_BACKWARDS _BV(2)
#define RIGHT_FORWARDS _BV(1) /* port C */
#define RIGHT_BACKWARDS _BV(2)
#define LEFT_PWM _BV(6) /* port D */
#define RIGHT_PWM _BV(5)

/* 1000 per mille are 255 steps; 16 bits suffice, and a division of 16 bits is quick. */
static uint8_t steps(int16_t duty)
{
    uint16_t size = (uint16_t)(duty < 0 ? -duty : duty);
    return (uint8_t)((size * 51U + 100U) / 200U);
}

static uint8_t direction(int16_t duty, uint8_t forwards, uint8_t backwards)
{
    return duty > 0 ? forwards : duty < 0 ? backwards : 0;
}

void motors_start(void)
{
    PORTB &= (uint8_t) ~(LEFT_FORWARDS | LEFT_BACKWARDS);
    PORTC &= (uint8_t) ~(RIGHT_FORWARDS | RIGHT_BACKWARDS);
    PORTD &= (uint8_t) ~(LEFT_PWM | RIGHT_PWM);
    DDRB |= LEFT_FORWARDS | LEFT_BACKWARDS;
    DDRC |= RIGHT_FORWARDS | RIGHT_BACKWARDS;
    DDRD |= LEFT_PWM | RIGHT_PWM;
    OCR0A = OCR0B = 0;
    /* Phase-correct PWM, 16 MHz / 510 = 31 kHz: above hearing, and exact at nothing and at all. */
    TCCR0A = _BV(COM0A1) | _BV(COM0B1) | _BV(WGM00);
    TCCR0B = _BV(CS00);
}

void motors_set(int16_t left, int16_t right)
{
    OCR0A = steps(left);
    OCR0B = steps(right);
    PORTB = (uint8_t)((PORTB & ~(LEFT_FORWARDS | LEFT_BACKWARDS)) | direction(left, LEFT_FORWARDS, LEFT_BACKWARDS));
    PORTC = (uint8_t)((PORTC & ~(RIGHT_FORWARDS | RIGHT_BACKWARDS)) | direction(right, RIGHT_FORWARDS, RIGHT_BACKWARDS));
}
