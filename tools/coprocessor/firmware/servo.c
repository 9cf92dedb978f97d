#include "servo.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#define PIN _BV(1)      /* port B */
#define STEPS_A_US 2U   /* 16 MHz / 8 */
#define PERIOD_US 20000U

static volatile uint8_t wanted;

void servo_start(void)
{
    PORTB &= (uint8_t)~PIN;
    DDRB |= PIN;
    ICR1 = PERIOD_US * STEPS_A_US - 1U;
    TCCR1A = _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
    TIMSK1 = _BV(OCIE1A);
}

/* Where a pulse would end, the pin is low: here pulses are switched on and off, so that none is cut short. */
ISR(TIMER1_COMPA_vect)
{
    TCCR1A = wanted ? _BV(COM1A1) | _BV(WGM11) : _BV(WGM11);
}

void servo_set(uint16_t pulse_us)
{
    wanted = pulse_us > 0;
    if (wanted)
        OCR1A = (uint16_t)(pulse_us * STEPS_A_US - 1U);
}
