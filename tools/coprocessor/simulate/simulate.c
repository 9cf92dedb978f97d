/* Runs the firmware in an AVR simulator: its serial port is a pseudo-terminal, its pins are told and watched.
 *
 * Usage: simulate FIRMWARE.elf CHIP
 *
 * Writes lines to standard output; times are microseconds of the simulated board since power-on:
 *   port PATH            the pseudo-terminal
 *   start TIME           the program starts: at power-on, and after each reset
 *   heard TIME           the last byte of a line came in
 *   drive TIME LEFT RIGHT   the motor pins changed: PWM steps, -255 to 255
 *   pulse TIME WIDTH     the servo's pulse is so many microseconds wide from now on; 0: none
 *
 * Reads lines from standard input; its end ends the program:
 *   turn left STEPS      turn an encoder by so many quadrature steps (minus: backwards), 5000 steps a second
 *   battery MILLIVOLTS   at the divider's middle
 *   sensor REGISTER VALUE   a byte in the orientation sensor
 *   hang                 the program stays at the instruction where it is, until the board's watchdog finds out
 *
 * Motors and servo are read from the registers that set them, since the simulator does not draw every kind of pulse.
 *
 * Debian package: libsimavr-dev. Simulated time keeps step with real time, or falls behind it.
 */
#define _GNU_SOURCE /* pty.h, cfmakeraw */
#include <fcntl.h>
#include <inttypes.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

#include "sensor.h"

#define CLOCK_HZ 16000000U
#define CYCLES_A_US (CLOCK_HZ / 1000000U)
#define SLICE_CYCLES (CLOCK_HZ / 1000U)
#define STEP_CYCLES (CLOCK_HZ / 5000U)
#define BYTE_CYCLES (CLOCK_HZ / 11520U)
#define SUPPLY_MV 5000U

/* Registers in data space, and the pins of firmware/board.h and motors.c. */
enum { PORT_B = 0x25, PORT_C = 0x28, OUTPUTS_B = 0x24, OUTPUTS_C = 0x27, LEFT_STEPS = 0x47, RIGHT_STEPS = 0x48 };
enum { PULSE_CONTROL = 0x80, PULSE_IS_ON = 0x80, PULSE_STEPS = 0x88 };
enum { LEFT_FORWARDS = 0, LEFT_BACKWARDS = 2, RIGHT_FORWARDS = 1, RIGHT_BACKWARDS = 2 };

struct encoder {
    uint8_t pin_a, pin_b;
    int pending;
    unsigned phase;
};

static avr_t *avr;
static int terminal;
static int input_is_full;
static struct encoder encoders[] = {{2, 3, 0, 2}, {4, 7, 0, 2}}; /* phase 2: both channels high, as pulled up */

static uint64_t microseconds(void)
{
    return avr->cycle / CYCLES_A_US;
}

/* Serial port */

static void on_sent(avr_irq_t *irq, uint32_t value, void *parameter)
{
    uint8_t byte = (uint8_t)value;
    (void)irq, (void)parameter;
    if (write(terminal, &byte, 1) != 1)
        return; /* nobody reads: lost, as on a wire */
}

static void on_room(avr_irq_t *irq, uint32_t value, void *parameter)
{
    (void)irq, (void)value, (void)parameter;
    input_is_full = 0;
}

static void on_full(avr_irq_t *irq, uint32_t value, void *parameter)
{
    (void)irq, (void)value, (void)parameter;
    input_is_full = 1;
}

static void open_terminal(void)
{
    int far;
    struct termios raw;
    if (openpty(&terminal, &far, NULL, NULL, NULL) != 0) {
        perror("no pseudo-terminal");
        exit(2);
    }
    tcgetattr(far, &raw);
    cfmakeraw(&raw);
    tcsetattr(far, TCSANOW, &raw);
    fcntl(terminal, F_SETFL, O_NONBLOCK);
    printf("port %s\n", ttyname(far)); /* the far end stays open, so that a reader may come and go */
}

static void connect_serial(void)
{
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_sent, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_room, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_full, NULL);
}

static void feed_serial(void)
{
    avr_irq_t *input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    uint8_t byte;
    if (input_is_full || read(terminal, &byte, 1) != 1)
        return;
    avr_raise_irq(input, byte);
    if (byte == '\n')
        printf("heard %" PRIu64 "\n", microseconds());
}

/* Encoders */

static void set_pin(uint8_t pin, uint32_t level)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), level);
}

static void step_encoder(struct encoder *encoder)
{
    static const uint8_t levels[] = {0, 2, 3, 1}; /* AB, forwards */
    if (encoder->pending == 0)
        return;
    int way = encoder->pending > 0 ? 1 : -1;
    encoder->pending -= way;
    encoder->phase = (encoder->phase + (unsigned)way) & 3U;
    set_pin(encoder->pin_a, levels[encoder->phase] >> 1);
    set_pin(encoder->pin_b, levels[encoder->phase] & 1U);
}

/* A jump to itself, put where the program is */

static uint8_t held[2], *held_at;

static void hang(void)
{
    if (held_at)
        return;
    held_at = avr->flash + avr->pc;
    memcpy(held, held_at, sizeof held);
    memcpy(held_at, (uint8_t[]){0xFF, 0xCF}, sizeof held);
}

static void go_on(void)
{
    if (held_at)
        memcpy(held_at, held, sizeof held);
    held_at = NULL;
}

/* What is watched */

static int channel(int forwards, int backwards, int steps)
{
    return forwards ? steps : backwards ? -steps : 0;
}

static int is_high(int port, int outputs, int pin)
{
    return avr->data[port] & avr->data[outputs] & 1 << pin;
}

static void watch_motors(void)
{
    static int last_left, last_right;
    int left = channel(is_high(PORT_B, OUTPUTS_B, LEFT_FORWARDS), is_high(PORT_B, OUTPUTS_B, LEFT_BACKWARDS),
                       avr->data[LEFT_STEPS]);
    int right = channel(is_high(PORT_C, OUTPUTS_C, RIGHT_FORWARDS), is_high(PORT_C, OUTPUTS_C, RIGHT_BACKWARDS),
                        avr->data[RIGHT_STEPS]);
    if (left != last_left || right != last_right)
        printf("drive %" PRIu64 " %d %d\n", microseconds(), left, right);
    last_left = left;
    last_right = right;
}

static void watch_servo(void)
{
    static unsigned last_us;
    unsigned steps = avr->data[PULSE_STEPS] | (unsigned)avr->data[PULSE_STEPS + 1] << 8;
    unsigned pulse_us = avr->data[PULSE_CONTROL] & PULSE_IS_ON ? (steps + 1U) / 2U : 0;
    if (pulse_us != last_us)
        printf("pulse %" PRIu64 " %u\n", microseconds(), pulse_us);
    last_us = pulse_us;
}

static void watch_start(void)
{
    static avr_flashaddr_t last;
    if (avr->pc == 0 && last != 0) {
        printf("start %" PRIu64 "\n", microseconds());
        encoders[0].phase = encoders[1].phase = 2;
        go_on();
    }
    last = avr->pc;
}

/* What is told */

static void set_battery(unsigned millivolts)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), millivolts);
}

static void obey(const char *line)
{
    char side[8];
    int steps;
    unsigned at, value;
    if (sscanf(line, "turn %7s %d", side, &steps) == 2)
        encoders[strcmp(side, "left") != 0].pending += steps;
    else if (sscanf(line, "battery %u", &value) == 1)
        set_battery(value);
    else if (sscanf(line, "sensor %u %u", &at, &value) == 2)
        set_sensor(at, value);
    else if (strcmp(line, "hang") == 0)
        hang();
    else
        fprintf(stderr, "not understood: %s\n", line);
}

static void take_instructions(void)
{
    static char line[80];
    static size_t length;
    char byte;
    ssize_t count;
    while ((count = read(STDIN_FILENO, &byte, 1)) == 1) {
        if (byte != '\n' && length < sizeof line - 1) {
            line[length++] = byte;
            continue;
        }
        line[length] = '\0';
        length = 0;
        obey(line);
    }
    if (count == 0)
        exit(0);
}

/* Time */

static void stay_awake(avr_t *sleeper, avr_cycle_count_t cycles)
{
    (void)sleeper, (void)cycles; /* keep_step does the waiting */
}

static void keep_step(void)
{
    static struct timespec due;
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    due.tv_nsec += 1000000L;
    if (due.tv_nsec >= 1000000000L) {
        due.tv_nsec -= 1000000000L;
        due.tv_sec++;
    }
    if (due.tv_sec < now.tv_sec || (due.tv_sec == now.tv_sec && due.tv_nsec < now.tv_nsec))
        due = now;
    clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &due, NULL);
}

static void run_slice(void)
{
    static avr_cycle_count_t slice_end, next_step, next_byte;
    for (slice_end += SLICE_CYCLES; avr->cycle < slice_end;) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the program ended at %" PRIu64 " us\n", microseconds());
            exit(1);
        }
        watch_start();
        watch_motors();
        watch_servo();
        if (avr->cycle >= next_byte) {
            next_byte = avr->cycle + BYTE_CYCLES;
            feed_serial();
        }
        if (avr->cycle >= next_step) {
            next_step = avr->cycle + STEP_CYCLES;
            step_encoder(&encoders[0]);
            step_encoder(&encoders[1]);
        }
    }
}

static void make_chip(const char *program, const char *chip)
{
    static elf_firmware_t firmware;
    if (elf_read_firmware(program, &firmware) != 0 || !(avr = avr_make_mcu_by_name(chip))) {
        fprintf(stderr, "no program %s, or no chip %s\n", program, chip);
        exit(2);
    }
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr->frequency = CLOCK_HZ;
    avr->vcc = avr->avcc = avr->aref = SUPPLY_MV;
    avr->sleep = stay_awake;
    avr_load_firmware(avr, &firmware);
}

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "usage: simulate FIRMWARE.elf CHIP\n");
        return 2;
    }
    setvbuf(stdout, NULL, _IOLBF, 0);
    fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK);
    make_chip(arguments[1], arguments[2]);
    connect_serial();
    connect_sensor(avr);
    set_battery(0);
    open_terminal();
    printf("start %" PRIu64 "\n", microseconds());
    for (;;) {
        take_instructions();
        run_slice();
        keep_step();
    }
}
