/* The serial link: bytes come and go in interrupts, through two rings. */
#ifndef FIRMWARE_SERIAL_H
#define FIRMWARE_SERIAL_H

#include <stdint.h>

void serial_start(void);
uint8_t serial_room(void); /* bytes that can be sent now without waiting */
void serial_send(const char *text, uint8_t length); /* not more than there is room for */
uint8_t serial_take(char *byte); /* returns 0 when none has come */

#endif
