#include "two_wire.h"

#include <avr/io.h>
#include <util/twi.h>

#define PATIENCE 4000U /* passes of the waiting loop, some 3 ms: time for a device that stretches the clock */

void two_wire_start(void)
{
    TWBR = (uint8_t)((F_CPU / 100000UL - 16UL) / 2UL);
    TWSR = 0;
}

static uint8_t take_step(uint8_t what, uint8_t expected)
{
    TWCR = (uint8_t)(what | _BV(TWINT) | _BV(TWEN));
    for (uint16_t passes = 0; !(TWCR & _BV(TWINT)); passes++)
        if (passes == PATIENCE)
            return 0;
    return TW_STATUS == expected;
}

static uint8_t send(uint8_t byte, uint8_t expected)
{
    TWDR = byte;
    return take_step(0, expected);
}

static uint8_t address_register(uint8_t address, uint8_t at)
{
    return take_step(_BV(TWSTA), TW_START) && send((uint8_t)(address << 1 | TW_WRITE), TW_MT_SLA_ACK) &&
           send(at, TW_MT_DATA_ACK);
}

static uint8_t receive(uint8_t address, uint8_t *to, uint8_t count)
{
    if (!take_step(_BV(TWSTA), TW_REP_START) || !send((uint8_t)(address << 1 | TW_READ), TW_MR_SLA_ACK))
        return 0;
    for (; count > 1; count--, *to++ = TWDR)
        if (!take_step(_BV(TWEA), TW_MR_DATA_ACK))
            return 0;
    if (!take_step(0, TW_MR_DATA_NACK))
        return 0;
    *to = TWDR;
    return 1;
}

/* Frees the bus; after a failure the interface is switched off too, so that the next start finds it idle. */
static uint8_t end(uint8_t succeeded)
{
    TWCR = _BV(TWINT) | _BV(TWSTO) | _BV(TWEN);
    for (uint16_t passes = 0; (TWCR & _BV(TWSTO)) && passes < PATIENCE; passes++)
        ;
    if (!succeeded)
        TWCR = 0;
    return succeeded;
}

uint8_t two_wire_read(uint8_t address, uint8_t from, uint8_t *to, uint8_t count)
{
    return end(address_register(address, from) && receive(address, to, count));
}

uint8_t two_wire_write(uint8_t address, uint8_t to, uint8_t value)
{
    return end(address_register(address, to) && send(value, TW_MT_DATA_ACK));
}
