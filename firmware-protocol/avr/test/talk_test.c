/* What is answered to what, sections 4 to 7 and 9 of SPEC.md, and how samples are numbered. */
#include "fake.h"

static uint8_t b[MAX_BODY];

static void token(uint8_t tag, uint16_t *t) {
	fake_tell("bb", 6L, (long)tag);
	CHECK(fake_hear_type(TYPE_ARM_TOKEN, b) && b[1] == tag, "no token");
	*t = get16(b + 2);
}

static uint8_t arm(uint16_t t, uint8_t mask) {
	fake_tell("bbwb", 7L, 99L, (long)t, (long)mask);
	return fake_answer(99);
}

static void hello(void) {
	uint8_t n;
	fake_begin();
	CHECK(fake_hear_type(TYPE_HELLO, b) && get16(b + 5) == 0 && b[10] == REASON_POWER_UP, "no hello of the restart");
	fake_run(300);
	CHECK(fake_hear(b) == 0, "it talks before hello: 0x%02X", b[0]);
	fake_tell("bb", 11L, 7L);
	CHECK(fake_answer(7) == CODE_NO_HELLO, "status before hello");
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 2L, 5L, 77L);
	CHECK(fake_hear_type(TYPE_HELLO, b) && b[3] == 1 && get16(b + 5) == 77, "no hello to another major");
	fake_tell("bb", 11L, 8L);
	CHECK(fake_answer(8) == CODE_NO_HELLO, "it serves another major");
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 78L);
	n = fake_hear(b);
	CHECK(b[0] == TYPE_HELLO && n == 16 + 7 * JOINTS + b[15] && b[14] == JOINTS && b[11] == QUEUE && b[11] >= 2 && get16(b + 12) == MAX_HZ, "hello");
	CHECK(b[16] == (HAS_ANGLE | HAS_CURRENT | HAS_SUPPLY | HAS_SERVO) && get24u(b + 17) == 4096 && get24u(b + 20) == 0, "joint 0 in hello");
	fake_run(1000);
	for (n = 0; fake_hear_type(TYPE_STATUS, b); n++)
		;
	CHECK(n == 10, "%d statuses in a second, want 10", n);
}

/* Refusals, and which wins when several apply. */
static void refusals(void) {
	uint16_t t;
	fake_begin();
	fake_run(20);
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 1L);
	fake.beating = true;
	static const uint8_t types[] = {0x00, 0x3F, TYPE_ACK, 0x7F, 0xFF, 0x0D};
	for (unsigned k = 0; k < sizeof types; k++) {
		fake_tell("bb", (long)types[k], 7L);
		CHECK(fake_answer(7) == CODE_UNKNOWN, "type 0x%02X is known", types[k]);
	}
	fake_tell("bbb", 9L, 7L, 9L);
	CHECK(fake_answer(7) == CODE_MALFORMED, "a short move");
	fake_tell("bbwb", 2L, 7L, 100L, 1L << JOINTS);
	CHECK(fake_answer(7) == CODE_NO_JOINT, "setup of a joint there is not");
	fake_tell("bbwb", 2L, 7L, MAX_HZ + 1L, 1L);
	CHECK(fake_answer(7) == CODE_RATE, "setup too fast");
	fake_tell("bbbbttwwttwwtt", 3L, 7L, (long)JOINTS, 0L, 1L, 0L, 500L, 2500L, 0L, 90000L, 0L, 0L, 0L, 0L);
	CHECK(fake_answer(7) == CODE_NO_JOINT, "no_joint wins over value");
	fake_tell("bbbbttwwttwwtt", 3L, 7L, 0L, 0L, 1L, 1L, 500L, 2500L, 0L, 90000L, 0L, 0L, 0L, 0L);
	CHECK(fake_answer(7) == CODE_VALUE, "an empty range");
	fake_tell("bbbbttwwttwwtt", 3L, 7L, 0L, 0L, 1L, 2L, 500L, 65535L, 0L, 90000L, 0L, 0L, 0L, 0L);
	CHECK(fake_answer(7) == CODE_VALUE, "a pulse longer than its frame");
	token(1, &t);
	CHECK(arm(t, 0) == CODE_NO_JOINT && arm(t, 1 << JOINTS) == CODE_NO_JOINT, "masks");
	CHECK(arm(t, 1) == CODE_NOT_SET_UP, "not set up wins over the token");
	fake_move(7, 1, 0, 0, 0);
	CHECK(fake_answer(7) == CODE_NOT_ARMED, "move while disarmed");

	fake_ready(250);
	token(1, &t);
	CHECK(arm((uint16_t)(t ^ 1), 1) == CODE_TOKEN && arm(t, 1) == CODE_TOKEN, "a wrong token uses it up");
	token(1, &t);
	fake_run(2001);
	CHECK(arm(t, 1) == CODE_TOKEN, "a token of 2 s ago");
	token(1, &t);
	fake.beating = false;
	fake_run(300);
	CHECK(arm(t, 1) == CODE_NO_HEARTBEAT, "no heartbeat");
	fake.beating = true;
	fake_run(200);
	fake.show[0].has &= (uint8_t)~HAS_ANGLE;
	fake_run(40);
	token(1, &t);
	CHECK(arm(t, 1) == CODE_NO_JOINT, "a joint whose sensor is silent would jump");
	fake.show[0].has |= HAS_ANGLE;
	fake_run(40);
	token(1, &t);
	CHECK(arm(t, 1) == 0 && arm(0, 1) == 0, "armed, and a repeat");
	CHECK(arm(0, 2) == CODE_ARMED, "another mask");
	fake_tell("bbwb", 2L, 7L, 100L, 1L);
	CHECK(fake_answer(7) == CODE_ARMED, "setup while armed");
	fake_tell("bbbbwttd", 9L, 7L, 1L, 2L, 1L, 0L, 0L, 0L);
	CHECK(fake_answer(7) == CODE_NO_JOINT, "a joint that is not armed");
	fake_tell("bbbbwttd", 9L, 7L, 0L, 8L, 1L, 0L, 0L, 0L);
	CHECK(fake_answer(7) == CODE_VALUE, "kind 8");
	fake_move(7, 0, 0, 0, 0);
	CHECK(fake_answer(7) == CODE_VALUE, "segment 0");
	fake_move(7, 5, 75001, 0, 0);
	CHECK(fake_answer(7) == CODE_RANGE, "a target outside");
	for (uint16_t k = 1; k <= QUEUE; k++) {
		fake_move(7, k, 0, 0, 60000);
		CHECK(fake_answer(7) == 0, "move %d", k);
	}
	fake_move(7, QUEUE, 0, 0, 60000);
	CHECK(fake_answer(7) == 0 && stand.joint[0].player.n == QUEUE, "a repeat is acked and not queued");
	fake_move(7, QUEUE + 1, 0, 0, 0);
	CHECK(fake_answer(7) == CODE_QUEUE_FULL, "one too many");
	fake_tell("bbb", 10L, 7L, 255L);
	for (uint16_t k = 1; k <= QUEUE; k++)
		CHECK(fake_hear_type(TYPE_MOVE_GONE, b) && b[2] == 1 && get16(b + 3) == k && get16(b + 5) == k, "stop: move %d", k);
	CHECK(fake_answer(7) == 0 && stand.state == ARMED && fake.pulse[0] == 3000, "it holds after a stop");
}

/* Begins where the sensor shows, within the range, the sensor's zero and direction counted. */
static void begins_where_it_is(void) {
	uint16_t t;
	fake_ready(500);
	fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, 1L, -20000L, 30000L, 500L, 2500L, -90000L, 90000L, 0L, 0L, 45000L, 0L);
	CHECK(fake_answer(1) == 0, "setup");
	fake.show[0].angle = counts_of(25); /* less 45, turned round: 20 */
	fake_run(20);
	token(1, &t);
	CHECK(arm(t, 1) == 0, "arm");
	CHECK(abs(fake.pulse[0] - (1000 + 110 * 4000 / 180)) <= 4, "begins with %d half us, want that of 20 deg", fake.pulse[0]);
	fake_tell("bb", 8L, 1L);
	fake.show[0].angle = counts_of(-100); /* 145: brought to 30 */
	fake_run(20);
	token(1, &t);
	CHECK(arm(t, 1) == 0, "arm");
	CHECK(fake.pulse[0] == 3667, "begins with %d half us, want that of 30 deg", fake.pulse[0]);
}

static void at_once(uint8_t sense, long zero, uint16_t pulse) {
	uint16_t t;
	token(1, &t);
	fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, (long)sense, -75000L, 75000L, 500L, 2500L, -90000L, 90000L, 0L, 0L, zero, 0L);
	CHECK(fake_answer(1) == 0, "setup");
	CHECK(arm(t, 1) == 0, "arm");
	CHECK(abs(fake.pulse[0] - pulse) <= 1, "zero %ld: begins with %d half us, want %d", zero, fake.pulse[0], pulse);
	fake_tell("bb", 8L, 1L);
	CHECK(fake_answer(1) == 0, "disarm");
}

/* No time, so no reading, passes between set-up and arming: another zero or sense must not make a jump. 90 deg are 2000 half us. */
static void armed_at_once(void) {
	uint16_t t;
	fake_ready(500);
	fake.show[0].angle = counts_of(45);
	fake_run(20);
	at_once(0, 45000, 3000);
	at_once(0, 0, 4000);
	at_once(1, 0, 2000);
	at_once(1, 90000, 4000);
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 9L); /* hello forgets the zero, not where the leg is */
	fake_tell("bb", 5L, 1L);
	at_once(0, 45000, 3000);
	/* One without a sensor begins in the middle at once too. */
	fake_begin();
	fake.caps[0].has = fake.show[0].has = HAS_CURRENT | HAS_SUPPLY;
	fake_run(20);
	fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 9L);
	fake_tell("bb", 5L, 1L);
	fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, 0L, 0L, 60000L, 500L, 2500L, -90000L, 90000L, 0L, 0L, 0L, 0L);
	token(2, &t);
	CHECK(arm(t, 1) == 0 && abs(fake.pulse[0] - 3667) <= 1, "begins with %d half us, want the middle", fake.pulse[0]);
}

/* Reads all samples of joint 0 that came and checks numbers and times; returns how many. */
static uint16_t samples(uint16_t from, uint32_t step, double *angle) {
	uint16_t seq = from;
	uint32_t time = 0;
	uint8_t n;
	while ((n = fake_hear(b)) != 0) {
		uint8_t has = b[2], at = 15, k;
		int32_t deg = 0;
		uint32_t t = get32(b + 8);
		if (b[0] != TYPE_SAMPLES)
			continue;
		CHECK(b[1] == 0 && get16(b + 6) == seq, "sample %d follows %d", get16(b + 6), seq);
		for (k = 0; at < n; k++) {
			if (k > 0) {
				t += get16(b + at);
				at = (uint8_t)(at + 4);
			}
			if (has & HAS_ANGLE) {
				deg = k ? deg + (int16_t)get16(b + at) : get24(b + at);
				at = (uint8_t)(at + (k ? 2 : 3));
			}
			at = (uint8_t)(at + (has & HAS_CURRENT ? 2 : 0) + (has & HAS_SUPPLY ? 2 : 0));
			CHECK(time == 0 || t - time == step, "a step of %u us, want %u", t - time, step);
			time = t;
			seq++;
		}
		CHECK(at == n, "a record is cut: %d of %d", at, n);
		*angle = deg / 1000.0;
	}
	return (uint16_t)(seq - from);
}

static void numbers(void) {
	double deg;
	uint16_t n;
	fake_ready(500);
	fake_run(2000);
	fake_tell("bbwb", 2L, 2L, 0L, 0L);
	n = samples(0, 2000, &deg);
	CHECK(n == stand.joint[0].seq && n >= 1009 && n <= 1011, "%d samples in 2.02 s, next number %d", n, stand.joint[0].seq);
	/* A rate that is no whole us: 3333.3; and one below the watch rate, of which each fifth turn is a sample. */
	fake_ready(60);
	fake_run(10000);
	CHECK(stand.joint[0].seq >= 600 && stand.joint[0].seq <= 602, "%d samples of 60 Hz in 10.02 s", stand.joint[0].seq);
}

/* The sensor wraps, the angle does not. */
static void turns(void) {
	double deg = 0;
	fake_ready(500);
	for (int k = 0; k <= 900; k++) {
		fake.show[0].angle = counts_of(k);
		fake_run(2);
	}
	fake_tell("bbwb", 2L, 2L, 0L, 0L);
	samples(0, 2000, &deg);
	CHECK(deg > 899.9 && deg < 900.1, "after two and a half turns the angle is %.2f deg, want 900", deg);
}

/* A step of more than 32.767 deg, a silent sensor and a new move each begin a new message; a silent field is left out. */
static void breaks(void) {
	static const struct {
		int deg;
		uint8_t has, more; /* messages that follow */
	} steps[] = {{0, 15, 0}, {32, 15, 0}, {0, 15, 0}, {33, 15, 1}, {33, 14, 1}, {33, 14, 0}, {33, 13, 1}, {0, 13, 1}};
	uint8_t n;
	fake_ready(250);
	fake_run(30);
	for (unsigned k = 0; k < sizeof steps / sizeof *steps; k++) {
		stand_flush(0);
		stand.joint[0].seq = 0; /* messages end at certain numbers too */
		fake.show[0].has = 15 & fake.caps[0].has;
		fake.show[0].angle = counts_of(k ? steps[k - 1].deg : 0);
		fake.show[0].has = (uint8_t)((k ? steps[k - 1].has : 15) & fake.caps[0].has);
		fake_run(4);
		fake_forget();
		fake.show[0].angle = counts_of(steps[k].deg);
		fake.show[0].has = steps[k].has & fake.caps[0].has;
		fake_run(4);
		for (n = 0; fake_hear_type(TYPE_SAMPLES, b); n++)
			;
		CHECK(n == steps[k].more, "step %u: %d messages ended, want %d", k, n, steps[k].more);
		stand_flush(0);
		CHECK(fake_hear_type(TYPE_SAMPLES, b) && b[2] == (steps[k].has & fake.caps[0].has), "step %u: fields 0x%02X", k, b[2]);
	}
}

/* Magnets stand in the flags of status beside what they are there for. */
static void magnets(void) {
	fake_ready(250);
	fake.magnets = 2 << 2 | 4 << 5;
	fake_tell("bb", 11L, 7L);
	while (fake_hear_type(TYPE_STATUS, b) && b[1] != 7)
		;
	CHECK(b[12] == (1 | 2 << 2 | 4 << 5) && b[24] == 0, "flags 0x%02X and 0x%02X", b[12], b[24]);
}

static uint8_t frame(uint8_t joint, long longest, long hz) {
	fake_tell("bbbbttwwttwwttw", 3L, 7L, (long)joint, 0L, -75000L, 75000L, 500L, longest, -90000L, 90000L, 2500L, 300L, 0L, 0L, hz);
	return fake_answer(7);
}

static uint8_t frame_unsaid(uint8_t joint) {
	fake_tell("bbbbttwwttwwtt", 3L, 7L, (long)joint, 0L, -75000L, 75000L, 500L, 2500L, -90000L, 90000L, 2500L, 300L, 0L, 0L);
	return fake_answer(7);
}

/* At full rate the messages of three joints are full at different times. */
static void in_turns(void) {
	uint8_t n, most = 0, samples_of[3] = {0, 0, 0};
	fake_ready(1000);
	fake_tell("bbwb", 2L, 2L, 1000L, 7L);
	fake_run(100);
	fake_forget();
	for (int ms = 0; ms < 800; ms++) {
		fake_run(1);
		for (n = 0; fake_hear_type(TYPE_SAMPLES, b); n++)
			samples_of[b[1]]++;
		if (n > most)
			most = n;
	}
	CHECK(most == 1, "%d messages of samples in one ms", most);
	for (uint8_t j = 0; j < 3; j++)
		CHECK(samples_of[j] == 100, "%d messages of joint %d for 800 samples, want 100", samples_of[j], j);
}

static uint8_t give(const uint8_t *frame, uint8_t n, bool crowded) {
	uint8_t taken = 0, k = 1;
	while (taken < n && k) {
		k = stand_bytes(frame + taken, (uint8_t)(n - taken), crowded);
		taken = (uint8_t)(taken + k);
	}
	return taken;
}

/* A line without room: a question waits, and bytes behind it; when there is no more place for these it is dropped and counted, so that a
   heartbeat gets through; what ends motion waits however crowded it is. */
static void no_room(void) {
	static const uint8_t ask[] = {TYPE_STATUS_ASK, 77}, off[] = {TYPE_DISARM, 78};
	uint8_t beat[] = {5, TYPE_HEARTBEAT, 1, 0, 0, 0}; /* no zero in it but the last */
	uint16_t bad, crc = crc16(beat + 1, 2);
	fake_armed(1000);
	fake.beating = false;
	fake.blocked = true;
	fake_run(200);
	CHECK(stand.joint[0].dropped > 0 && stand.state == ARMED, "the line has room");
	fake_say(ask, 2);
	CHECK(stand.held, "a question is answered into nothing");
	put16(beat + 3, crc);
	bad = stand.bad;
	CHECK(give(beat, 6, false) == 0 && stand.held && stand.bad == bad, "bytes are taken behind a message that waits");
	CHECK(give(beat, 6, true) == 6 && !stand.held && stand.bad == bad + 1, "crowded: the question is not dropped, or not counted");
	CHECK(stand.beat_at == fake.us, "the heartbeat behind it is not heard");
	fake_say(off, 2);
	CHECK(give(beat, 6, true) == 0 && stand.held && stand.state == ARMED, "disarm was dropped");
	fake.blocked = false;
	fake_forget();
	CHECK(give(beat, 6, false) == 6 && stand.state == DISARMED && fake.pulse[0] == 0, "disarm was not done as there was room");
	CHECK(fake_answer(78) == 0, "nor answered");
}

/* How many pulses a second: one rate for all joints that are set up, none of them more than it was asked for. */
static void frames(void) {
	fake_ready(250); /* joint 0, nothing said */
	CHECK(fake.frame_hz == SERVO_FRAME_HZ, "its own rate is %d", fake.frame_hz);
	CHECK(frame(0, 2500, 49) == CODE_FRAME && frame(0, 2500, 334) == CODE_FRAME && frame(0, 2500, 65535) == CODE_FRAME, "out of reach");
	CHECK(fake.frame_hz == SERVO_FRAME_HZ && stand.joint[0].set.known, "a refusal changed something");
	CHECK(frame(1, 2500, 250) == CODE_FRAME && !stand.joint[1].set.known, "beside a joint at the stand's own rate");
	CHECK(frame(1, 2500, SERVO_FRAME_HZ) == 0, "the same rate, said");
	CHECK(frame(0, 2500, 250) == CODE_FRAME, "beside a joint at 50");
	fake_ready(250); /* hello forgets */
	CHECK(frame(0, 2500, 250) == 0 && fake.frame_hz == 250, "a joint alone may change");
	CHECK(frame_unsaid(1) == CODE_FRAME, "nothing said is the stand's own rate, which is another");
	CHECK(frame(1, 2500, 0) == CODE_FRAME && frame(1, 2500, 333) == CODE_FRAME && frame(1, 2500, 250) == 0, "the second joint");
	CHECK(frame(2, 3501, 250) == CODE_VALUE && frame(2, 3500, 250) == 0, "a pulse of 3.5 ms and its gap fit 4 ms");
	fake_ready(250);
	CHECK(frame(0, 2504, 333) == CODE_VALUE && frame(0, 2503, 333) == 0 && fake.frame_hz == 333, "a pulse of 2.5 ms fits 3 ms");
	CHECK(frame_unsaid(0) == 0 && fake.frame_hz == SERVO_FRAME_HZ, "a joint alone goes back");
	fake_armed(250);
	CHECK(frame(0, 2500, 250) == CODE_ARMED && fake.frame_hz == SERVO_FRAME_HZ, "while armed");
}

int main(void) {
	hello();
	frames();
	in_turns();
	no_room();
	magnets();
	refusals();
	begins_where_it_is();
	armed_at_once();
	numbers();
	turns();
	breaks();
	return 0;
}
