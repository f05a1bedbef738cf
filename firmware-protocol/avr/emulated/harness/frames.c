/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/* Frames as in SPEC.md, sections 2 and 4. Written apart from the firmware, so that a mistake of one is
 * not a mistake of both. */
#include "harness.h"

enum { HEARTBEAT = 0x05, SAMPLES = 0x50 };

static uint16_t crc(const uint8_t *p, unsigned n)
{
    uint16_t c = 0xFFFF;
    while (n--) {
        c ^= (uint16_t)(*p++ << 8);
        for (int bit = 0; bit < 8; bit++)
            c = (uint16_t)(c & 0x8000 ? c << 1 ^ 0x1021 : c << 1);
    }
    return c;
}

static int unstuff(struct reader *r)
{
    unsigned in = 0, out = 0;
    while (in < r->raw_len) {
        unsigned code = r->raw[in++];
        if (in + code - 1 > r->raw_len)
            return 0;
        for (unsigned i = 1; i < code; i++)
            r->body[out++] = r->raw[in++];
        if (code != 255 && in < r->raw_len)
            r->body[out++] = 0;
    }
    if (out < 3)
        return 0;
    r->body_len = out - 2;
    return crc(r->body, r->body_len) == (r->body[out - 2] | r->body[out - 1] << 8);
}

int reader_take(struct reader *r, uint8_t byte)
{
    if (byte) {
        if (r->raw_len < sizeof r->raw)
            r->raw[r->raw_len++] = byte;
        else
            r->too_long = 1;
        return 0;
    }
    int whole = r->raw_len && !r->too_long && unstuff(r);
    r->raw_len = 0;
    r->too_long = 0;
    return whole;
}

unsigned reader_samples(const struct reader *r)
{
    static const unsigned first[6] = {3, 3, 2, 2, 2, 2};
    if (r->body[0] != SAMPLES || r->body_len < 15)
        return 0;
    unsigned head = 15, step = 4;
    for (int bit = 0; bit < 6; bit++)
        if (r->body[2] >> bit & 1) {
            head += first[bit];
            step += 2;
        }
    return r->body_len < head ? 0 : 1 + (r->body_len - head) / step;
}

unsigned frame_beat(uint8_t *out, uint8_t count)
{
    uint8_t body[4] = {HEARTBEAT, count};
    uint16_t c = crc(body, 2);
    body[2] = (uint8_t)c;
    body[3] = (uint8_t)(c >> 8);
    unsigned n = 0, code;
    out[n++] = 0;
    code = n++;
    out[code] = 1;
    for (int i = 0; i < 4; i++)
        if (body[i]) {
            out[n++] = body[i];
            out[code]++;
        } else {
            code = n++;
            out[code] = 1;
        }
    out[n++] = 0;
    return n;
}
