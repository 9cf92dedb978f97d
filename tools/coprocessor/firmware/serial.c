#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"

#define DIVISOR ((F_CPU / 8UL + BOARD_BAUD / 2UL) / BOARD_BAUD - 1UL)

/* Indices of 8 bits wrap where the rings do. Each is written on one side only. */
static volatile char sending[256], received[256];
static volatile uint8_t send_from, send_to, receive_from, receive_to;

void serial_start(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = DIVISOR;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

ISR(USART_RX_vect)
{
    char byte = (char)UDR0;
    uint8_t next = (uint8_t)(receive_to + 1U);
    if (next == receive_from)
        return; /* the CRC of the sentence will tell */
    received[receive_to] = byte;
    receive_to = next;
}

ISR(USART_UDRE_vect)
{
    if (send_from == send_to)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    else
        UDR0 = (uint8_t)sending[send_from++];
}

uint8_t serial_room(void)
{
    return (uint8_t)(send_from - send_to - 1U);
}

void serial_send(const char *text, uint8_t length)
{
    while (length-- > 0)
        sending[send_to++] = *text++;
    UCSR0B |= _BV(UDRIE0);
}

uint8_t serial_take(char *byte)
{
    if (receive_from == receive_to)
        return 0;
    *byte = received[receive_from];
    receive_from++;
    return 1;
}
