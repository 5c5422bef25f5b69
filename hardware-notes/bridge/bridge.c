/* Bridge from a clock-and-data gauge port to a line of hexadecimal digits, see ../gauge-port.md.
 *
 * In: the levels of clock and data with their times. Out: characters for a serial port, one line a
 * frame, ended by CR; for bits that are no whole frame a line of '?' and how many there were.
 *
 * Plain C99 without a library; no allocation, no floating point. Levels are those of the gauge: where
 * a transistor inverts them, call bridge_sample(b, now, !clock, !data). Times may wrap around.
 */
#include <stdint.h>

#define BRIDGE_MOST_BITS 52
#define BRIDGE_GLITCH_US 20u    /* edges closer together are noise */
#define BRIDGE_SILENCE_US 5000u /* parts two frames; bits come at most 1 ms apart */

enum bridge_kind {
    BRIDGE_BCD13, /* 13 nibbles, bit 1 of each first */
    BRIDGE_WORD24, /* one word, bit 1 first */
    BRIDGE_WORD48 /* two words, the absolute one first, bit 1 of each first */
};

struct bridge {
    enum bridge_kind kind;
    void (*send)(char);
    uint8_t bits[BRIDGE_MOST_BITS];
    uint16_t count; /* since the last silence; more than a frame has are counted only */
    uint8_t clock;
    uint32_t edge_us;
};

static uint16_t bridge_frame_bits(const struct bridge *b)
{
    switch (b->kind) {
    case BRIDGE_BCD13:
        return 52;
    case BRIDGE_WORD24:
        return 24;
    default:
        return 48;
    }
}

void bridge_begin(struct bridge *b, enum bridge_kind kind, void (*send)(char))
{
    b->kind = kind;
    b->send = send;
    b->count = 0;
    b->clock = 1; /* at rest */
    b->edge_us = 0;
}

static void bridge_send_nibble(const struct bridge *b, uint8_t nibble)
{
    b->send("0123456789ABCDEF"[nibble & 15]);
}

/* The four bits from `at`, the lowest first. */
static uint8_t bridge_nibble(const struct bridge *b, uint16_t at)
{
    return (uint8_t)(b->bits[at] | b->bits[at + 1] << 1 | b->bits[at + 2] << 2 | b->bits[at + 3] << 3);
}

static void bridge_send_frame(const struct bridge *b)
{
    uint16_t bits = bridge_frame_bits(b), word, at;

    if (b->kind == BRIDGE_BCD13) {
        for (at = 0; at < bits; at += 4)
            bridge_send_nibble(b, bridge_nibble(b, at));
    } else { /* a number is written with its highest nibble first */
        for (word = 0; word < bits; word += 24)
            for (at = 24; at > 0; at -= 4)
                bridge_send_nibble(b, bridge_nibble(b, word + at - 4));
    }
}

/* Ends what has been gathered, once it is still for long enough. Call it every millisecond or so. */
void bridge_idle(struct bridge *b, uint32_t now_us)
{
    if (b->count == 0 || now_us - b->edge_us < BRIDGE_SILENCE_US)
        return;
    if (b->count == bridge_frame_bits(b)) {
        bridge_send_frame(b);
    } else {
        b->send('?');
        bridge_send_nibble(b, (uint8_t)(b->count / 100 % 10));
        bridge_send_nibble(b, (uint8_t)(b->count / 10 % 10));
        bridge_send_nibble(b, (uint8_t)(b->count % 10));
    }
    b->send('\r');
    b->count = 0;
}

/* Clock or data has changed, or may have. */
void bridge_sample(struct bridge *b, uint32_t now_us, int clock, int data)
{
    uint8_t was = b->clock;

    bridge_idle(b, now_us);
    if ((clock != 0) == was)
        return;
    if (b->count > 0 && now_us - b->edge_us < BRIDGE_GLITCH_US)
        return; /* the level is looked at again at the next change */
    b->clock = clock != 0;
    b->edge_us = now_us;
    if (clock)
        return;
    if (b->count < bridge_frame_bits(b))
        b->bits[b->count] = data != 0;
    if (b->count < 999)
        b->count++;
}

#ifdef BRIDGE_ON_A_COMPUTER
/* For the tests: `bridge bcd13|word24|word48` reads lines of "microseconds clock data" and writes what
 * the microcontroller would send. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static void put(char c)
{
    putchar(c);
}

int main(int argc, char **argv)
{
    struct bridge b;
    uint32_t now = 0, next;
    int clock, data;
    enum bridge_kind kind = BRIDGE_BCD13;

    if (argc > 1 && strcmp(argv[1], "word24") == 0)
        kind = BRIDGE_WORD24;
    if (argc > 1 && strcmp(argv[1], "word48") == 0)
        kind = BRIDGE_WORD48;
    bridge_begin(&b, kind, put);
    while (scanf("%" SCNu32 " %d %d", &next, &clock, &data) == 3) {
        now = next;
        bridge_sample(&b, now, clock, data);
    }
    bridge_idle(&b, now + BRIDGE_SILENCE_US);
    return 0;
}
#endif
