#include "battery.h"

#include <avr/io.h>

#include "board.h"

#define SAMPLES 16U

void battery_start(void)
{
    ADMUX = _BV(REFS0); /* reference: the supply; channel 0 */
    DIDR0 = _BV(ADC0D);
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
}

static uint16_t convert(void)
{
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC))
        ; /* ends by itself after 13 clocks of the converter */
    return ADC;
}

uint16_t battery_millivolts(void)
{
    uint32_t sum = 0;
    for (uint8_t sample = 0; sample < SAMPLES; sample++)
        sum += convert();
    return (uint16_t)(sum * BATTERY_FULL_SCALE_MV / (1023UL * SAMPLES));
}
