#include "fake.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

struct fake fake;

uint32_t board_now(void) { return fake.us; }
void board_frame(uint16_t hz) { fake.frame_hz = hz; }
void board_pulse(uint8_t joint, uint16_t half_us) { fake.pulse[joint] = half_us; }
void board_pulse_off(uint8_t joint) { fake.pulse[joint] = 0; }
uint16_t board_chance(void) { return fake.chance++; }
const struct caps *board_caps(uint8_t joint) { return &fake.caps[joint]; }
uint16_t board_current_end(uint8_t joint) { return joint < JOINTS ? 3168 : 0; } /* 99 % of what a shunt of 100 mOhm shows at 320 mV */
uint8_t board_magnets(uint8_t joint) { return joint == 0 ? fake.magnets : 0; }
uint8_t *board_line_tail(void) { return line_tail; }
void board_line_go(uint8_t *head) { line_head = head; }

/* What the stand said and nobody heard yet, as bodies with their lengths in front. */
static uint8_t said[1 << 20];
static size_t said_from, said_to;

static void drain(void) {
	static struct rx rx;
	static uint8_t buf[STUFFED(MAX_BODY)];
	if (rx.buf == NULL)
		rx_init(&rx, buf, sizeof buf, false);
	while (!fake.blocked && line_tail != line_head) {
		enum rx_result r = rx_byte(&rx, *line_tail);
		line_tail = line_tail + 1 == line_ring + LINE_RING ? line_ring : line_tail + 1;
		CHECK(r == RX_MORE || r == RX_FRAME, "the stand sent a broken frame: %d", (int)r);
		if (r != RX_FRAME)
			continue;
		if (said_from == said_to)
			said_from = said_to = 0;
		CHECK(said_to + rx.body < sizeof said, "nobody listens");
		said[said_to++] = rx.body;
		memcpy(said + said_to, buf, rx.body);
		said_to += rx.body;
	}
}

uint8_t fake_hear(uint8_t *body) {
	uint8_t n;
	drain();
	if (said_from == said_to)
		return 0;
	n = said[said_from];
	memcpy(body, said + said_from + 1, n);
	said_from += 1u + n;
	return n;
}

bool fake_hear_type(uint8_t type, uint8_t *body) {
	uint8_t n;
	while ((n = fake_hear(body)) != 0)
		if (body[0] == type)
			return true;
	return false;
}

void fake_forget(void) {
	drain();
	said_from = said_to = 0;
}

void fake_say(const uint8_t *body, uint8_t n) {
	uint8_t raw[MAX_HOST_BODY + 2], code = 1, block[64];
	uint16_t crc = crc16(body, n);
	CHECK(n <= MAX_HOST_BODY, "%d bytes to the stand", n);
	memcpy(raw, body, n);
	put16(raw + n, crc);
	for (uint8_t i = 0; i < n + 2; i++) { /* stuffed by hand: the core only stuffs what it sends */
		if (raw[i] != 0) {
			block[code++] = raw[i];
			continue;
		}
		fake_byte(code);
		for (uint8_t k = 1; k < code; k++)
			fake_byte(block[k]);
		code = 1;
	}
	fake_byte(code);
	for (uint8_t k = 1; k < code; k++)
		fake_byte(block[k]);
	fake_byte(0);
	drain();
}

void fake_tell(const char *fmt, ...) {
	uint8_t b[MAX_HOST_BODY], *p = b;
	va_list ap;
	va_start(ap, fmt);
	for (; *fmt; fmt++) {
		long v = va_arg(ap, long);
		if (*fmt == 'b')
			p = put8(p, (uint8_t)v);
		else if (*fmt == 'w')
			p = put16(p, (uint16_t)v);
		else if (*fmt == 't')
			p = put24(p, (uint32_t)v);
		else
			p = put32(p, (uint32_t)v);
	}
	va_end(ap);
	fake_say(b, (uint8_t)(p - b));
}

void fake_begin(void) {
	memset(&fake, 0, sizeof fake);
	memset(&stand, 0, sizeof stand);
	line_head = line_tail = line_ring;
	fake.us = 4000000000u; /* the clock wraps within each test of some minutes */
	fake.chance = 777;
	for (uint8_t j = 0; j < JOINTS; j++) {
		fake.caps[j].has = HAS_ANGLE | HAS_CURRENT | HAS_SUPPLY;
		fake.caps[j].joint_turn = 4096;
		fake.show[j].has = fake.caps[j].has;
		fake.show[j].supply = 6000;
	}
	stand_begin(REASON_POWER_UP);
}

void fake_run(uint32_t ms) {
	while (ms--) {
		fake.us += 1000;
		if (fake.beating && fake.us / 1000 % 100 == 0)
			fake_tell("bb", 5L, (long)fake.beat++);
		while ((int32_t)(fake.us - stand.next) >= 0) {
			struct due due = stand_due(fake.us);
			bool sample = stand_gathered(&due);
			for (uint8_t j = 0; j < JOINTS; j++) {
				struct reading r = fake.show[j];
				r.time = fake.us;
				stand_reading(j, &r, sample);
			}
			drain();
		}
		stand_turn();
		drain();
	}
}

uint16_t counts_of(double deg) { return (uint16_t)((long)lround(deg * 4096 / 360) & 4095); }

void fake_ready(uint16_t hz) {
	fake_begin();
	fake_run(20);
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 0x1234L);
	fake.beating = true;
	fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, 0L, -75000L, 75000L, 500L, 2500L, -90000L, 90000L, 2500L, 300L, 0L, 0L);
	CHECK(fake_answer(1) == 0, "setup_joint refused");
	fake_tell("bbwb", 2L, 2L, (long)hz, 1L);
	CHECK(fake_answer(2) == 0, "setup refused");
	fake_run(20);
}

void fake_armed(uint16_t hz) {
	uint8_t b[MAX_BODY];
	fake_ready(hz);
	fake_run(100);
	fake_tell("bb", 6L, 3L);
	CHECK(fake_hear_type(TYPE_ARM_TOKEN, b), "no token");
	fake_tell("bbwb", 7L, 4L, (long)get16(b + 2), 1L);
	CHECK(fake_answer(4) == 0, "not armed");
	fake_forget();
}

uint8_t fake_answer(uint8_t tag) {
	uint8_t b[MAX_BODY], n;
	while ((n = fake_hear(b)) != 0) {
		if (b[0] == TYPE_ACK && b[1] == tag)
			return 0;
		if (b[0] == TYPE_REFUSAL && b[1] == tag)
			return b[3];
	}
	return 255;
}

void fake_move(uint8_t tag, uint16_t segment, int32_t target, uint32_t rate, uint32_t dwell) {
	fake_tell("bbbbwttd", 9L, (long)tag, 0L, 2L, (long)segment, (long)target, (long)rate, (long)dwell);
}
