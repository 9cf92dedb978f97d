/* The sentences of the serial link, for the co-processor's side. C99, no heap, no floating point, no printf.
 *
 * rover/link/sentences.py has the table of sentences and fields; tests/link/test_c_header.py holds the two together.
 *
 * Writing:  link_begin(&w, 'C', sequence, milliseconds, boot); link_signed(&w, left); link_signed(&w, right);
 *           length = link_end(&w); send length bytes of w.text.
 * Reading:  for each byte received: if (link_feed(&r, byte, &command)) obey the command.
 */
#ifndef COPROCESSOR_LINK_H
#define COPROCESSOR_LINK_H

#include <stdint.h>

#define LINK_LONGEST 82 /* characters of a sentence, $ and CR LF included */
#define LINK_REVISION 2U /* goes last into the identity: this board reads commands with a time */

enum link_verdict {
    LINK_ACCEPTED = 0,
    LINK_STALE = 1,         /* sequence not above the last accepted one */
    LINK_INVALID = 2,       /* a field out of range */
    LINK_EXPIRED = 3,       /* no time left on arrival */
    LINK_OTHER_SESSION = 4, /* another sender's command is still running */
    LINK_LAPSED = 5         /* accepted before, its time has passed since, motors at zero */
};

struct link_writer {
    char text[LINK_LONGEST + 1];
    uint8_t length;
};

struct link_reader {
    char text[LINK_LONGEST + 1];
    uint8_t length; /* 0: waiting for '$' */
};

struct link_command {
    char letter; /* 'M': left, right; 'S': pulse_us */
    uint16_t session;
    uint32_t sequence;
    int16_t left;  /* per mille; may be out of -1000..1000: refuse it then */
    int16_t right; /* per mille */
    uint16_t pulse_us;
    uint16_t lasts_ms;
    uint8_t has_until;
    uint32_t until_ms; /* by this board's milliseconds; only where has_until */
};

/* CRC-16/IBM-3740: polynomial 1021, start FFFF, not reflected. */
static inline uint16_t link_crc(const char *text, uint8_t length)
{
    uint16_t crc = 0xFFFF;
    for (uint8_t i = 0; i < length; i++) {
        crc ^= (uint16_t)((uint16_t)(uint8_t)text[i] << 8);
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = (crc & 0x8000U) ? (uint16_t)((uint16_t)(crc << 1) ^ 0x1021U) : (uint16_t)(crc << 1);
    }
    return crc;
}

static inline uint8_t link_xor(const char *text, uint8_t length)
{
    uint8_t sum = 0;
    for (uint8_t i = 0; i < length; i++)
        sum ^= (uint8_t)text[i];
    return sum;
}

static inline char link_hex_digit(uint8_t value)
{
    return (char)(value < 10 ? '0' + value : 'A' + value - 10);
}

/* A sentence too long for its buffer loses its tail here and is rejected by the far end's CRC. */
static inline void link_put(struct link_writer *w, char c)
{
    if (w->length < LINK_LONGEST)
        w->text[w->length++] = c;
}

static inline void link_blank(struct link_writer *w)
{
    link_put(w, ',');
}

static inline void link_digits(struct link_writer *w, uint32_t value)
{
    char digits[10];
    uint8_t count = 0;
    do {
        digits[count++] = (char)('0' + value % 10U);
        value /= 10U;
    } while (value > 0);
    while (count > 0)
        link_put(w, digits[--count]);
}

static inline void link_unsigned(struct link_writer *w, uint32_t value)
{
    link_put(w, ',');
    link_digits(w, value);
}

static inline void link_signed(struct link_writer *w, int32_t value)
{
    link_put(w, ',');
    if (value < 0)
        link_put(w, '-');
    link_digits(w, value < 0 ? 0U - (uint32_t)value : (uint32_t)value);
}

static inline void link_word(struct link_writer *w, const char *word)
{
    link_put(w, ',');
    while (*word)
        link_put(w, *word++);
}

static inline void link_begin(struct link_writer *w, char letter, uint16_t sequence, uint32_t milliseconds, uint16_t boot)
{
    w->length = 0;
    for (const char *c = "$PXFR"; *c; c++)
        link_put(w, *c);
    link_put(w, letter);
    link_unsigned(w, sequence);
    link_unsigned(w, milliseconds);
    link_unsigned(w, boot);
}

/* Adds CRC, checksum and line end; returns the number of bytes to send from w->text. */
static inline uint8_t link_end(struct link_writer *w)
{
    uint16_t crc = link_crc(w->text + 1, (uint8_t)(w->length - 1));
    link_put(w, ',');
    for (int8_t shift = 12; shift >= 0; shift = (int8_t)(shift - 4))
        link_put(w, link_hex_digit((uint8_t)(crc >> shift) & 0x0FU));
    uint8_t sum = link_xor(w->text + 1, (uint8_t)(w->length - 1));
    link_put(w, '*');
    link_put(w, link_hex_digit((uint8_t)(sum >> 4)));
    link_put(w, link_hex_digit(sum & 0x0FU));
    link_put(w, '\r');
    link_put(w, '\n');
    w->text[w->length] = '\0';
    return w->length;
}

/* Returns 0 to 15, or 16 for what is no hex digit. */
static inline uint8_t link_hex_value(char c)
{
    if (c >= '0' && c <= '9')
        return (uint8_t)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (uint8_t)(c - 'A' + 10);
    if (c >= 'a' && c <= 'f')
        return (uint8_t)(c - 'a' + 10);
    return 16;
}

/* Reads digits and moves on; returns 0 unless they are a number within the limit. */
static inline uint8_t link_take_digits(const char **at, uint32_t limit, uint32_t *value)
{
    uint8_t digits = 0;
    *value = 0;
    for (; **at >= '0' && **at <= '9'; (*at)++, digits++) {
        uint8_t digit = (uint8_t)(**at - '0');
        if (digits >= 10 || digit > limit || *value > (limit - digit) / 10U)
            return 0;
        *value = *value * 10U + digit;
    }
    return digits > 0;
}

static inline uint8_t link_take_unsigned(const char **at, uint32_t limit, uint32_t *value)
{
    return *(*at)++ == ',' && link_take_digits(at, limit, value);
}

static inline uint8_t link_take_signed(const char **at, int16_t *value)
{
    uint32_t size;
    if (*(*at)++ != ',')
        return 0;
    uint8_t negative = **at == '-';
    *at += negative;
    if (!link_take_digits(at, 32767U + negative, &size))
        return 0;
    *value = (int16_t)(negative ? -(int32_t)size : (int32_t)size);
    return 1;
}

static inline uint8_t link_parse_fields(const char *at, const char *end, struct link_command *command)
{
    uint32_t number;
    if (!link_take_unsigned(&at, 0xFFFFU, &number))
        return 0;
    command->session = (uint16_t)number;
    if (!link_take_unsigned(&at, 0xFFFFFFFFU, &command->sequence))
        return 0;
    command->left = command->right = 0;
    command->pulse_us = 0;
    if (command->letter == 'M') {
        if (!link_take_signed(&at, &command->left) || !link_take_signed(&at, &command->right))
            return 0;
    } else {
        if (!link_take_unsigned(&at, 0xFFFFU, &number))
            return 0;
        command->pulse_us = (uint16_t)number;
    }
    if (!link_take_unsigned(&at, 0xFFFFU, &number))
        return 0;
    command->lasts_ms = (uint16_t)number;
    command->has_until = at != end;
    command->until_ms = 0;
    if (command->has_until && !link_take_unsigned(&at, 0xFFFFFFFFU, &command->until_ms))
        return 0;
    return at == end;
}

/* Checks and reads a whole line "$...*hh"; returns 1 if it is a sound command. */
static inline uint8_t link_parse(const char *text, uint8_t length, struct link_command *command)
{
    if (length < 16 || text[length - 3] != '*' || text[length - 8] != ',')
        return 0;
    uint8_t high = link_hex_value(text[length - 2]), low = link_hex_value(text[length - 1]);
    if (high > 15 || low > 15 || (uint8_t)(high << 4 | low) != link_xor(text + 1, (uint8_t)(length - 4)))
        return 0;
    uint16_t crc = 0;
    for (uint8_t i = (uint8_t)(length - 7); i < length - 3; i++) {
        uint8_t digit = link_hex_value(text[i]);
        if (digit > 15)
            return 0;
        crc = (uint16_t)((uint16_t)(crc << 4) | digit);
    }
    if (crc != link_crc(text + 1, (uint8_t)(length - 9)))
        return 0;
    for (uint8_t i = 0; i < 4; i++)
        if (text[1 + i] != "PXFR"[i])
            return 0;
    command->letter = text[5];
    if (command->letter != 'M' && command->letter != 'S')
        return 0;
    return link_parse_fields(text + 6, text + length - 8, command);
}

/* Takes one received byte; returns 1 when it completes a sound command. Everything else is passed over. */
static inline uint8_t link_feed(struct link_reader *r, char byte, struct link_command *command)
{
    uint8_t length = r->length;
    if (byte == '$') {
        r->text[0] = byte;
        r->length = 1;
        return 0;
    }
    if (byte == '\r' || byte == '\n') {
        r->length = 0;
        return length > 0 ? link_parse(r->text, length, command) : 0;
    }
    if (length == 0)
        return 0;
    if (length >= LINK_LONGEST - 2) {
        r->length = 0;
        return 0;
    }
    r->text[r->length++] = byte;
    return 0;
}

#endif
