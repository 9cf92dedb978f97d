/* One address, 256 registers. */
#include "sensor.h"

#include <stddef.h>

#include <simavr/avr_twi.h>

#define SENSOR_ADDRESS 0x28U

/* Registers in data space. */
enum { BUS_CONTROL = 0xBC, BUS_FLAG = 0x80 };

static uint8_t sensor[256];
static int sensor_is_addressed, sensor_expects_register;
static uint8_t sensor_register;
static avr_irq_t *sensor_bus;

static void answer_sensor(uint8_t what, uint8_t data)
{
    avr_raise_irq(sensor_bus + TWI_IRQ_INPUT, avr_twi_irq_msg(what, SENSOR_ADDRESS << 1, data));
}

static void take_sensor_byte(uint8_t data)
{
    if (sensor_expects_register)
        sensor_register = data;
    else
        sensor[sensor_register++] = data;
    sensor_expects_register = 0;
}

static void on_bus(avr_irq_t *irq, uint32_t value, void *parameter)
{
    avr_twi_msg_irq_t message = {.u = {.v = value}};
    uint8_t what = message.u.twi.msg;
    (void)irq, (void)parameter;
    if (what & TWI_COND_STOP)
        sensor_is_addressed = 0;
    if (what & TWI_COND_START) {
        sensor_is_addressed = message.u.twi.addr >> 1 == SENSOR_ADDRESS;
        sensor_expects_register = !(message.u.twi.addr & 1U);
        if (sensor_is_addressed)
            answer_sensor(TWI_COND_ACK, 1);
    }
    if (sensor_is_addressed && what & TWI_COND_WRITE) {
        answer_sensor(TWI_COND_ACK, 1);
        take_sensor_byte(message.u.twi.data);
    }
    if (sensor_is_addressed && what & TWI_COND_READ)
        answer_sensor(TWI_COND_READ, sensor[sensor_register++]);
}

/* On the chip, writing a one to the flag lowers it until the step is done; the simulator leaves it up. */
static void lower_flag(avr_t *chip, avr_io_addr_t at, uint8_t value, void *parameter)
{
    (void)parameter;
    if (value & BUS_FLAG)
        chip->data[at] &= (uint8_t)~BUS_FLAG;
}

void connect_sensor(avr_t *avr)
{
    static const char *names[] = {"8>sensor.in", "32<sensor.out"};
    sensor_bus = avr_alloc_irq(&avr->irq_pool, 0, 2, names);
    avr_irq_register_notify(sensor_bus + TWI_IRQ_OUTPUT, on_bus, NULL);
    avr_connect_irq(sensor_bus + TWI_IRQ_INPUT, avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT));
    avr_connect_irq(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), sensor_bus + TWI_IRQ_OUTPUT);
    avr_register_io_write(avr, BUS_CONTROL, lower_flag, NULL);
}

void set_sensor(unsigned at, unsigned value)
{
    sensor[at & 0xFFU] = (uint8_t)value;
}
