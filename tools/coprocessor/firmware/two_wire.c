#include "two_wire.h"

#include <avr/io.h>
#include <util/twi.h>

#define PATIENCE 4000U /* passes of the waiting loop, some 3 ms: time for a device that stretches the clock */

void two_wire_start(void)
{
    TWBR = (uint8_t)((F_CPU / 100000UL - 16UL) / 2UL);
    TWSR = 0;
}

static uint8_t take_step(uint8_t what)
{
    TWCR = (uint8_t)(what | _BV(TWINT) | _BV(TWEN));
    for (uint16_t passes = 0; !(TWCR & _BV(TWINT)); passes++)
        if (passes == PATIENCE)
            return 0;
    return 1;
}

static uint8_t start(void)
{
    return take_step(_BV(TWSTA)) && (TW_STATUS == TW_START || TW_STATUS == TW_REP_START);
}

/* An address or a byte; some simulators do not tell the two acknowledgements apart. */
static uint8_t send(uint8_t byte)
{
    TWDR = byte;
    return take_step(0) &&
           (TW_STATUS == TW_MT_SLA_ACK || TW_STATUS == TW_MT_DATA_ACK || TW_STATUS == TW_MR_SLA_ACK);
}

static uint8_t address_register(uint8_t address, uint8_t at)
{
    return start() && send((uint8_t)(address << 1 | TW_WRITE)) && send(at);
}

static uint8_t receive(uint8_t address, uint8_t *to, uint8_t count)
{
    if (!start() || !send((uint8_t)(address << 1 | TW_READ)))
        return 0;
    while (count-- > 0) {
        uint8_t acknowledge = count > 0 ? _BV(TWEA) : 0;
        if (!take_step(acknowledge))
            return 0;
        *to++ = TWDR;
    }
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
    return end(address_register(address, to) && send(value));
}
