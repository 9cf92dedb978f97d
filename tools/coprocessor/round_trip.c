/* Host program that holds link.h against another codec; tests/link/test_c_header.py compiles and runs it.
 *
 *   round_trip read    bytes on standard input; prints each sound command: letter session sequence fields lasts_ms [until_ms]
 *   round_trip write   lines "letter sequence milliseconds boot field ..." on standard input; prints the sentences.
 *                      A field is a number, '-' for an empty one, or 'word.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "link.h"

static int read_commands(void)
{
    struct link_reader reader = {{0}, 0};
    struct link_command c;
    int byte;
    while ((byte = getchar()) != EOF) {
        if (!link_feed(&reader, (char)byte, &c))
            continue;
        if (c.letter == 'M')
            printf("M %u %lu %d %d %u", c.session, (unsigned long)c.sequence, c.left, c.right, c.lasts_ms);
        else
            printf("S %u %lu %u %u", c.session, (unsigned long)c.sequence, c.pulse_us, c.lasts_ms);
        if (c.has_until)
            printf(" %lu", (unsigned long)c.until_ms);
        putchar('\n');
    }
    return 0;
}

static void write_field(struct link_writer *w, const char *field)
{
    if (field[0] == '\'')
        link_word(w, field + 1);
    else if (strcmp(field, "-") == 0)
        link_blank(w);
    else if (field[0] == '-')
        link_signed(w, (int32_t)strtol(field, NULL, 10));
    else
        link_unsigned(w, (uint32_t)strtoul(field, NULL, 10));
}

static int write_reports(void)
{
    char line[200], *stamp[4], *field;
    struct link_writer w;
    while (fgets(line, sizeof line, stdin)) {
        for (int i = 0; i < 4; i++)
            if (!(stamp[i] = strtok(i ? NULL : line, " \n")))
                return 1;
        link_begin(&w, stamp[0][0], (uint16_t)strtoul(stamp[1], NULL, 10), (uint32_t)strtoul(stamp[2], NULL, 10),
                   (uint16_t)strtoul(stamp[3], NULL, 10));
        while ((field = strtok(NULL, " \n")))
            write_field(&w, field);
        fwrite(w.text, 1, link_end(&w), stdout);
    }
    return 0;
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "read") == 0)
        return read_commands();
    if (count == 2 && strcmp(arguments[1], "write") == 0)
        return write_reports();
    fprintf(stderr, "usage: round_trip read|write\n");
    return 2;
}
