/* The command gate of a co-processor: what is obeyed, and when it ends. C99, no hardware in it.
 *
 * rover/link/emulated_firmware.py (CoProcessor) is the same gate in Python; tests/tools/test_gate.py holds the two together.
 *
 * gate_obey for each command that link_feed completes, gate_enforce from a timer interrupt once a millisecond (with
 * interrupts off round gate_obey and gate_take_answer), then bring g->left, g->right and g->pulse_us to the pins.
 */
#ifndef COPROCESSOR_GATE_H
#define COPROCESSOR_GATE_H

#include "link.h"

#define GATE_MOTORS_MS 250U     /* motors at zero when no valid command came for this long */
#define GATE_AHEAD_MS 1000     /* a command for later than this is for another boot's milliseconds */
#define GATE_SERVO_MS 10000U    /* servo limp */
#define GATE_SHORTEST_US 500U
#define GATE_LONGEST_US 2500U

enum gate_channel { GATE_MOTORS, GATE_SERVO, GATE_CHANNELS };

struct gate_answer {
    uint32_t sequence;
    uint8_t verdict; /* enum link_verdict */
    uint8_t waits;
};

struct gate {
    int16_t max_duty; /* per mille */
    int16_t left, right;
    uint16_t pulse_us; /* 0: limp */
    uint16_t session;
    uint8_t has_session;
    uint8_t has_sequence[GATE_CHANNELS]; /* in the present session */
    uint32_t sequence[GATE_CHANNELS];    /* last accepted */
    uint8_t runs[GATE_CHANNELS];
    uint32_t until[GATE_CHANNELS];
    struct gate_answer answer[GATE_CHANNELS];
    uint8_t first_answer; /* the channel that has waited longest */
};

static inline void gate_start(struct gate *g, int16_t max_duty)
{
    *g = (struct gate){.max_duty = max_duty};
}

static inline uint8_t gate_in_range(const struct link_command *c)
{
    if (c->letter == 'M')
        return c->left >= -1000 && c->left <= 1000 && c->right >= -1000 && c->right <= 1000;
    return c->pulse_us == 0 || (c->pulse_us >= GATE_SHORTEST_US && c->pulse_us <= GATE_LONGEST_US);
}

/* One that waited in a stalled line is over, however long it lasts from its arrival. */
static inline uint8_t gate_is_over(const struct link_command *c, uint32_t now)
{
    int32_t left = (int32_t)(c->until_ms - now);
    return c->lasts_ms == 0 || (c->has_until && (left <= 0 || left > GATE_AHEAD_MS));
}

static inline enum link_verdict gate_judge(const struct gate *g, const struct link_command *c, uint8_t channel,
                                           uint32_t now)
{
    if (!gate_in_range(c))
        return LINK_INVALID;
    if (gate_is_over(c, now))
        return LINK_EXPIRED;
    if (!g->has_session || c->session != g->session) {
        /* Anyone may stop; only who finds the motors at zero may start. */
        uint8_t stops = c->letter == 'M' && c->left == 0 && c->right == 0;
        return stops || (g->left == 0 && g->right == 0) ? LINK_ACCEPTED : LINK_OTHER_SESSION;
    }
    if (g->has_sequence[channel] && (int32_t)(c->sequence - g->sequence[channel]) <= 0)
        return LINK_STALE;
    return LINK_ACCEPTED;
}

static inline void gate_answer(struct gate *g, uint8_t channel, uint32_t sequence, enum link_verdict verdict)
{
    if (!g->answer[!channel].waits)
        g->first_answer = channel;
    g->answer[channel] = (struct gate_answer){sequence, (uint8_t)verdict, 1};
}

static inline void gate_join_session(struct gate *g, uint16_t session)
{
    if (g->has_session && g->session == session)
        return;
    g->session = session;
    g->has_session = 1;
    g->has_sequence[GATE_MOTORS] = g->has_sequence[GATE_SERVO] = 0;
}

static inline int16_t gate_clip(int16_t duty, int16_t most)
{
    return duty > most ? most : duty < -most ? (int16_t)-most : duty;
}

static inline void gate_apply(struct gate *g, const struct link_command *c, uint32_t now)
{
    if (c->letter == 'M') {
        g->left = gate_clip(c->left, g->max_duty);
        g->right = gate_clip(c->right, g->max_duty);
        g->until[GATE_MOTORS] = now + (c->lasts_ms < GATE_MOTORS_MS ? c->lasts_ms : GATE_MOTORS_MS);
        if (c->has_until && (int32_t)(c->until_ms - g->until[GATE_MOTORS]) < 0)
            g->until[GATE_MOTORS] = c->until_ms;
        g->runs[GATE_MOTORS] = 1;
    } else {
        g->pulse_us = c->pulse_us;
        g->until[GATE_SERVO] = now + GATE_SERVO_MS;
        g->runs[GATE_SERVO] = 1;
    }
}

static inline uint8_t gate_ends(struct gate *g, uint8_t channel, uint32_t now)
{
    if (!g->runs[channel] || (int32_t)(now - g->until[channel]) < 0)
        return 0;
    g->runs[channel] = 0;
    return 1;
}

/* Ends what has run out; returns 1 if anything did. */
static inline uint8_t gate_enforce(struct gate *g, uint32_t now)
{
    uint8_t motors_end = gate_ends(g, GATE_MOTORS, now), servo_ends = gate_ends(g, GATE_SERVO, now);
    if (motors_end) {
        g->left = g->right = 0;
        gate_answer(g, GATE_MOTORS, g->sequence[GATE_MOTORS], LINK_LAPSED);
    }
    if (servo_ends)
        g->pulse_us = 0;
    return motors_end || servo_ends;
}

/* Takes a command that arrived now (milliseconds since boot). */
static inline void gate_obey(struct gate *g, const struct link_command *c, uint32_t now)
{
    uint8_t channel = c->letter == 'M' ? GATE_MOTORS : GATE_SERVO;
    gate_enforce(g, now);
    enum link_verdict verdict = gate_judge(g, c, channel, now);
    gate_answer(g, channel, c->sequence, verdict);
    if (verdict != LINK_ACCEPTED)
        return;
    gate_join_session(g, c->session);
    g->has_sequence[channel] = 1;
    g->sequence[channel] = c->sequence;
    gate_apply(g, c, now);
}

/* Hands over the answer that has waited longest, 'M' or 'S'; returns 0 if none waits. */
static inline char gate_take_answer(struct gate *g, struct gate_answer *taken)
{
    uint8_t channel = g->first_answer;
    if (!g->answer[channel].waits)
        return 0;
    *taken = g->answer[channel];
    g->answer[channel].waits = 0;
    g->first_answer = !channel;
    return channel == GATE_MOTORS ? 'M' : 'S';
}

#endif
