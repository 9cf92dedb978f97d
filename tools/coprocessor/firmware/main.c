/* Example firmware of the co-processor: counts, heading and battery go up, motor and servo commands come down.
 *
 * tools/coprocessor/README.md says what it owes the robot. Four things see to it that motors stop: the deadline of
 * each command, enforced in the millisecond interrupt whatever the main loop does; the watchdog, which the main loop
 * feeds only while that interrupt lives; outputs low from the first instructions on; and pull-downs on the bridge's
 * inputs, since the pins of a microcontroller in reset float.
 */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "../gate.h"
#include "battery.h"
#include "board.h"
#include "encoders.h"
#include "heading.h"
#include "motors.h"
#include "serial.h"
#include "servo.h"

#define TIMER_STEPS (F_CPU / 64UL / 1000UL) /* a millisecond */

struct report {
    char letter;
    uint16_t period_ms;
    uint32_t due_ms;
    uint16_t sequence;
};

static struct gate gate;
static volatile uint32_t milliseconds;
static uint16_t boot;
static struct link_writer out;
static uint16_t boots_so_far EEMEM;

/* Runs before anything else. After a reset by the watchdog it is still running, at its shortest time. */
static void safe_start(void) __attribute__((naked, used, section(".init3")));
static void safe_start(void)
{
    MCUSR = 0;
    wdt_disable();
    motors_start();
}

static void apply_gate(void)
{
    motors_set(gate.left, gate.right);
    servo_set(gate.pulse_us);
}

ISR(TIMER2_COMPA_vect)
{
    milliseconds++;
    if (gate_enforce(&gate, milliseconds))
        apply_gate();
}

static uint32_t now(void)
{
    uint32_t copy = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        copy = milliseconds;
    }
    return copy;
}

static void start_milliseconds(void)
{
    OCR2A = TIMER_STEPS - 1U;
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22);
    TIMSK2 = _BV(OCIE2A);
}

static uint16_t next_boot(void)
{
    uint16_t number = (uint16_t)(eeprom_read_word(&boots_so_far) + 1U);
    eeprom_write_word(&boots_so_far, number);
    eeprom_busy_wait();
    return number;
}

static void obey_what_came(void)
{
    static struct link_reader in;
    struct link_command command;
    char byte;
    while (serial_take(&byte)) {
        if (!link_feed(&in, byte, &command))
            continue;
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
        {
            gate_obey(&gate, &command, milliseconds);
            apply_gate();
        }
    }
}

static void write_counts(void)
{
    struct encoder_counts counts = encoders_read();
    link_signed(&out, counts.left);
    link_signed(&out, counts.right);
}

static void write_heading(void)
{
    struct heading heading;
    if (heading_read(&heading)) {
        link_unsigned(&out, heading.cdeg);
        link_signed(&out, heading.cdps);
        link_unsigned(&out, heading.calibration);
    } else {
        link_blank(&out);
        link_blank(&out);
        link_blank(&out);
    }
}

static void write_battery(void)
{
    link_unsigned(&out, battery_millivolts());
    link_blank(&out); /* current is not measured */
}

static void write_identity(void)
{
    link_unsigned(&out, BOARD_MAX_DUTY);
    link_word(&out, BOARD_NAME);
    link_unsigned(&out, LINK_REVISION);
}

static void write_answer(char letter, const struct gate_answer *answer, int16_t left, int16_t right)
{
    const char command[] = {letter, '\0'};
    link_word(&out, command);
    link_unsigned(&out, answer->sequence);
    link_unsigned(&out, answer->verdict);
    link_signed(&out, left);
    link_signed(&out, right);
}

static void begin(struct report *report)
{
    link_begin(&out, report->letter, report->sequence++, now(), boot);
}

static void send(void)
{
    uint8_t length = link_end(&out);
    serial_send(out.text, length);
}

static void send_report(struct report *report)
{
    begin(report);
    switch (report->letter) {
    case 'C': write_counts(); break;
    case 'H': write_heading(); break;
    case 'B': write_battery(); break;
    default: write_identity();
    }
    send();
}

static void send_answer(struct report *report)
{
    struct gate_answer answer;
    int16_t left = 0, right = 0;
    char letter = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        letter = gate_take_answer(&gate, &answer);
        left = gate.left;
        right = gate.right;
    }
    if (!letter)
        return;
    begin(report);
    write_answer(letter, &answer, left, right);
    send();
    report->due_ms = now() + report->period_ms;
}

static uint8_t is_due(const struct report *report)
{
    return (int32_t)(now() - report->due_ms) >= 0 && serial_room() >= LINK_LONGEST;
}

/* Periods missed are not made up for. */
static void move_on(struct report *report)
{
    while ((int32_t)(now() - report->due_ms) >= 0)
        report->due_ms += report->period_ms;
}

static void report_what_is_due(void)
{
    static struct report reports[] = {
        {'C', 20, 0, 0}, {'H', 50, 0, 0}, {'B', 500, 0, 0}, {'I', 1000, 0, 0}};
    static struct report answers = {'A', 50, 0, 0};

    if (is_due(&answers))
        send_answer(&answers);
    for (uint8_t i = 0; i < sizeof reports / sizeof reports[0]; i++) {
        if (is_due(&reports[i])) {
            send_report(&reports[i]);
            move_on(&reports[i]);
        }
        obey_what_came(); /* a report takes a few milliseconds to write */
    }
}

/* The main loop lives, or this would not be called; the interrupt lives, or its count would stand still. */
static void feed_watchdog(void)
{
    static uint32_t fed_ms;
    if (now() == fed_ms)
        return;
    fed_ms = now();
    wdt_reset();
}

int main(void)
{
    gate_start(&gate, BOARD_MAX_DUTY);
    boot = next_boot();
    servo_start();
    encoders_start();
    heading_start();
    battery_start();
    serial_start();
    start_milliseconds();
    wdt_enable(WDTO_120MS);
    sei();
    for (;;) {
        obey_what_came();
        report_what_is_due();
        feed_watchdog();
        sleep_mode(); /* until the next interrupt, a millisecond at the most */
    }
}
