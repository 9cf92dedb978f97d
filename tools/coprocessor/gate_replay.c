/* Runs the command gate over lines "MILLISECONDS SENTENCE" or "MILLISECONDS -" (only time passes), for the tests.
 *
 * Prints after each line: left right pulse_us, then "letter sequence verdict" of the answers taken (at most one a line).
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "gate.h"

int main(int count, char **arguments)
{
    static char line[256];
    struct gate gate;
    struct link_reader reader = {.length = 0};
    struct link_command command;
    struct gate_answer answer;

    gate_start(&gate, (int16_t)(count > 1 ? atoi(arguments[1]) : 1000));
    while (fgets(line, sizeof line, stdin)) {
        char *at;
        uint32_t now = (uint32_t)strtoul(line, &at, 10);
        gate_enforce(&gate, now);
        for (; *at; at++)
            if (link_feed(&reader, *at, &command))
                gate_obey(&gate, &command, now);
        char letter = gate_take_answer(&gate, &answer);
        printf("%d %d %u", gate.left, gate.right, (unsigned)gate.pulse_us);
        if (letter)
            printf(" %c %" PRIu32 " %u", letter, answer.sequence, (unsigned)answer.verdict);
        putchar('\n');
    }
    return 0;
}
