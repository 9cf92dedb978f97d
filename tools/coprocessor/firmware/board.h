/* What is wired where, and the settings of this board. To fit another robot, change this file only.
 *
 * Pins as set up here (config/README.md, "Wiring", has the drawing):
 *
 *   D0 D1   serial link to the single-board computer
 *   D2 D3   left encoder A, B          D4 D7   right encoder A, B
 *   D6      left motor PWM             D5      right motor PWM
 *   B0 B2   left motor forwards, backwards
 *   C1 C2   right motor forwards, backwards
 *   B1      gripper servo
 *   C0      battery, through a divider
 *   C4 C5   two-wire interface to the orientation sensor (SDA, SCL)
 *
 * All the others stay inputs. At reset every pin is an input, so the bridge's inputs need pull-downs.
 */
#ifndef FIRMWARE_BOARD_H
#define FIRMWARE_BOARD_H

#define BOARD_NAME "example 1"
#define BOARD_BAUD 115200UL
#define BOARD_MAX_DUTY 1000 /* per mille; lower it where the motors are made for less than the battery gives */

/* Encoders. 0: two channels in quadrature, each edge of both counts. 1: A counts, both edges, B is the direction. */
#ifndef ENCODER_B_IS_DIRECTION
#define ENCODER_B_IS_DIRECTION 0
#endif
#define ENCODER_LEFT_A 2 /* bits of port D */
#define ENCODER_LEFT_B 3
#define ENCODER_RIGHT_A 4
#define ENCODER_RIGHT_B 7

/* Battery: 10 kohm above, 3.3 kohm below, 5 V reference: 5000 mV * 13.3 / 3.3 at full scale. Measure and correct. */
#define BATTERY_FULL_SCALE_MV 20152UL

/* Absolute-orientation sensor: 7-bit address, registers, and how they are to be read (least significant byte first).
 * The values are an example; take your sensor's from its data sheet. */
#define HEADING_ADDRESS 0x28
#define HEADING_MODE_REGISTER 0x3D
#define HEADING_MODE 0x0C /* written whenever the register holds anything else, as after the sensor's own restart */
#define HEADING_REGISTER 0x1A
#define HEADING_STEPS_A_DEGREE 16 /* clockwise positive */
#define HEADING_RATE_REGISTER 0x18
#define HEADING_RATE_STEPS_A_DEGREE (-16) /* minus: the sensor counts anticlockwise rates positive */
#define HEADING_CALIBRATION_REGISTER 0x35
#define HEADING_CALIBRATION_SHIFT 6 /* two bits, 0 to 3 */

#endif
