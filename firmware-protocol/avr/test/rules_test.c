/* The rules of section 8 of SPEC.md, each with the figures that stand there, and what ends the pulses besides. */
#include "fake.h"

static uint8_t b[MAX_BODY];

/* Wants a trip for a reason, then its status, no pulses, and the stand to stay so until disarm. */
static void want_trip(enum reason reason, uint8_t joint, int32_t value, int32_t limit) {
	CHECK(stand.state == TRIPPED && stand.trip == reason, "state %d by %d, want tripped by %d", stand.state, stand.trip, (int)reason);
	CHECK(fake.pulse[0] == 0, "pulses of %d half us after a trip", fake.pulse[0]);
	CHECK(fake_hear_type(TYPE_TRIP, b), "it does not say so");
	CHECK(b[1] == reason && b[2] == joint, "it says reason %d, joint %d", b[1], b[2]);
	CHECK((int32_t)get32(b + 7) == value && (int32_t)get32(b + 11) == limit, "value %d, limit %d; want %d, %d",
	      (int32_t)get32(b + 7), (int32_t)get32(b + 11), value, limit);
	while (fake_hear(b) && b[0] == TYPE_SAMPLES) /* those that bear the move's mark come before the word that it is gone */
		;
	CHECK(b[0] == TYPE_MOVE_GONE && b[2] == 1, "the move is not discarded next: 0x%02X", b[0]);
	CHECK(fake_hear_type(TYPE_STATUS, b) && b[2] == TRIPPED && b[3] == reason && b[4] == joint, "no status of a trip by %d", (int)reason);
	fake_tell("bb", 8L, 50L);
	CHECK(fake_answer(50) == 0 && stand.state == DISARMED && stand.trip == REASON_NONE, "disarm did not acknowledge it");
}

static void arm_and_move(uint16_t hz) {
	fake_armed(hz);
	CHECK(fake.pulse[0] == 3000, "armed at 0 deg, the pulse is %d half us, want 3000", fake.pulse[0]);
	fake_move(9, 1, 40000, 1000, 60000);
	CHECK(fake_answer(9) == 0, "move refused");
	fake_run(50);
	CHECK(fake.pulse[0] > 3000 && stand.state == ARMED, "it does not move");
	fake_forget();
}

/* Not before more than 250 ms without a whole heartbeat, and then within a turn of 1 ms. */
static void heartbeat(void) {
	arm_and_move(500);
	fake_tell("bb", 5L, 0L);
	fake.beating = false;
	fake_run(250);
	CHECK(stand.state == ARMED && fake.pulse[0] != 0, "tripped within 250 ms");
	fake_run(1);
	want_trip(REASON_HEARTBEAT, NO_JOINT, 251, 250);
	fake_run(300);
	arm_and_move(500); /* broken heartbeats are none */
	fake.beating = false;
	for (int k = 0; k < 26; k++) {
		static const uint8_t broken[] = {2, 5, 3, 0xFA, 0xE3, 0};
		for (unsigned i = 0; i < sizeof broken; i++)
			fake_byte(broken[i]);
		fake_run(10);
	}
	CHECK(stand.state == TRIPPED && stand.trip == REASON_HEARTBEAT, "broken heartbeats kept it armed");
	CHECK(stand.bad == 26, "%d bad frames counted, want 26", stand.bad);
}

/* Above current_max in every reading for longer than over: 2500 mA, 300 ms. */
static void current(uint16_t hz) {
	arm_and_move(hz);
	fake.show[0].current = 2501;
	fake_run(290);
	fake.show[0].current = 2500; /* at the limit is not above it */
	fake_run(8);
	fake.show[0].current = 2612;
	fake_run(300);
	CHECK(stand.state == ARMED, "tripped though one reading was at the limit");
	fake_run(12);
	want_trip(REASON_CURRENT, 0, 2612, 2500);
}

static void current_without_limit(void) {
	arm_and_move(250);
	fake_tell("bb", 8L, 1L);
	fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, 0L, -75000L, 75000L, 500L, 2500L, -90000L, 90000L, 0L, 0L, 0L, 0L);
	fake_tell("bb", 6L, 3L);
	CHECK(fake_hear_type(TYPE_ARM_TOKEN, b), "no token");
	fake_tell("bbwb", 7L, 4L, (long)get16(b + 2), 1L);
	fake.show[0].current = 32767;
	fake_run(2000);
	CHECK(stand.state == ARMED, "tripped by the current without a limit");
}

/* A limit that the sensor never reads above is brought below its end, or a stalled servo burns unseen. */
static void current_at_the_end(void) {
	static const long limits[] = {3168, 3200, 5000, 65535};
	for (unsigned k = 0; k < sizeof limits / sizeof *limits; k++) {
		fake_ready(250);
		fake_tell("bbbbttwwttwwtt", 3L, 1L, 0L, 0L, -75000L, 75000L, 500L, 2500L, -90000L, 90000L, limits[k], 300L, 0L, 0L);
		CHECK(fake_answer(1) == 0, "setup");
		fake_run(100);
		fake_tell("bb", 6L, 3L);
		CHECK(fake_hear_type(TYPE_ARM_TOKEN, b), "no token");
		fake_tell("bbwb", 7L, 4L, (long)get16(b + 2), 1L);
		CHECK(fake_answer(4) == 0, "arm");
		fake_move(9, 1, 40000, 1000, 60000);
		fake.show[0].current = 3167;
		fake_run(1000);
		CHECK(stand.state == ARMED, "a limit of %ld mA: tripped below the sensor's end", limits[k]);
		fake.show[0].current = 3200;
		fake_run(300);
		CHECK(stand.state == ARMED, "a limit of %ld mA: tripped too early", limits[k]);
		fake_run(12);
		want_trip(REASON_CURRENT, 0, 3200, 3167);
	}
}

/* More than 3 deg outside in 3 readings on end; the limit it names is the end that was passed. */
static void range(void) {
	arm_and_move(500);
	fake.show[0].angle = counts_of(77.9);
	fake_run(500);
	CHECK(stand.state == ARMED, "tripped 2.9 deg outside");
	for (int k = 0; k < 20; k++) {
		fake.show[0].angle = counts_of(k % 3 == 2 ? 70 : 79);
		fake_run(2);
	}
	CHECK(stand.state == ARMED, "tripped though not three in a row");
	fake.show[0].angle = counts_of(79.1);
	fake_run(6);
	want_trip(REASON_RANGE, 0, 79102, 75000); /* 900 counts are 79.1016 deg */
	fake.show[0].angle = 0;
	arm_and_move(500);
	fake.show[0].angle = counts_of(-40);
	fake_run(2);
	fake.show[0].angle = counts_of(-78.4);
	fake_run(6);
	want_trip(REASON_RANGE, 0, -78398, -75000); /* -892 counts */
}

/* 50 readings on end, or those of 100 ms: at 1 kHz 101, at 100 Hz (read 300 times a second) 50. */
static void bus(uint8_t lost, uint16_t hz, uint32_t alive_ms, uint32_t more_ms, int32_t readings) {
	arm_and_move(hz);
	fake.show[0].has &= (uint8_t)~lost;
	fake_run(alive_ms);
	CHECK(stand.state == ARMED, "sensor 0x%02X silent at %d Hz: tripped within %u ms", lost, hz, alive_ms);
	fake_run(more_ms);
	want_trip(REASON_BUS, 0, readings, readings);
}

static void silent_for_a_while(void) {
	arm_and_move(500);
	for (int k = 0; k < 20; k++) {
		fake.show[0].has = 0;
		fake_run(96);
		fake.show[0].has = HAS_ANGLE | HAS_CURRENT | HAS_SUPPLY;
		fake_run(4);
	}
	CHECK(stand.state == ARMED, "tripped though a reading came each 100 ms");
}

/* Below what the firmware needs for 20 ms. */
static void supply(void) {
	arm_and_move(500);
	fake.show[0].supply = SUPPLY_MIN_MV;
	fake_run(500);
	CHECK(stand.state == ARMED, "tripped at the least it needs");
	for (int k = 0; k < 20; k++) {
		fake.show[0].supply = k % 10 == 9 ? SUPPLY_MIN_MV : SUPPLY_MIN_MV - 4;
		fake_run(2);
	}
	CHECK(stand.state == ARMED, "tripped by dips of 18 ms");
	fake.show[0].supply = SUPPLY_MIN_MV - 8;
	fake_run(23);
	want_trip(REASON_SUPPLY, NO_JOINT, SUPPLY_MIN_MV - 8, SUPPLY_MIN_MV);
}

/* The sample clock lost more than 10 periods: at 500 Hz 20 ms. */
static void watchdog(void) {
	uint16_t seq;
	arm_and_move(500);
	seq = stand.joint[0].seq;
	fake.us += 20000 - 2000;
	fake_run(2);
	CHECK(stand.state == ARMED, "tripped by 10 periods");
	CHECK((uint16_t)(stand.joint[0].seq - seq) == 10 && stand.joint[0].dropped == 9, "%d numbers, %d dropped; want 10, 9",
	      stand.joint[0].seq - seq, stand.joint[0].dropped);
	fake_run(10);
	fake.us += 31000;
	fake_run(1);
	CHECK(stand.state == TRIPPED && stand.trip == REASON_WATCHDOG && stand.trip_limit == 20000 && stand.trip_value >= 30000,
	      "state %d by %d: %d of %d us", stand.state, stand.trip, stand.trip_value, stand.trip_limit);
	CHECK(fake.pulse[0] == 0, "pulses go on");
}

static void button(void) {
	stand_button();
	arm_and_move(500);
	stand_button();
	CHECK(fake.pulse[0] == 0, "pulses go on");
	fake_run(1);
	want_trip(REASON_BUTTON, NO_JOINT, 0, 0);
}

/* Nothing but the armed stand trips, and a new hello, bye and a restart end pulses. */
static void other_ends(void) {
	fake_ready(500);
	fake.beating = false;
	fake.show[0].has = 0;
	fake.show[0].supply = 0;
	fake_run(1000);
	CHECK(stand.state == DISARMED, "a stand that is not armed tripped");
	for (int k = 0; k < 3; k++) {
		fake_armed(500);
		CHECK(fake.pulse[0] == 3000, "no pulses");
		if (k == 0)
			fake_tell("bbbbbw", 1L, (long)'L', (long)'G', 1L, 0L, 9L);
		else if (k == 1)
			fake_tell("bb", 12L, 9L);
		else
			stand_begin(REASON_WATCHDOG);
		CHECK(fake.pulse[0] == 0 && stand.state == DISARMED && !stand.joint[0].armed && !stand.joint[0].set.known, "way %d: armed still", k);
		CHECK(k == 0 ? stand.met : !stand.met, "way %d: met %d", k, stand.met);
		if (k == 2)
			CHECK(fake_hear_type(TYPE_HELLO, b) && get16(b + 5) == 0 && b[10] == REASON_WATCHDOG, "no hello of the restart");
	}
}

/* A line that takes nothing: samples are numbered and counted as dropped, the trip is told when there is room again. */
static void blocked(void) {
	arm_and_move(500);
	fake.blocked = true;
	fake_run(1000);
	CHECK(stand.joint[0].dropped > 400, "%d dropped", stand.joint[0].dropped);
	fake.beating = false;
	fake_run(300);
	CHECK(fake.pulse[0] == 0, "pulses go on");
	fake.blocked = false;
	fake_run(2);
	CHECK(fake_hear_type(TYPE_TRIP, b) && b[1] == REASON_HEARTBEAT, "the trip was never told");
	CHECK(fake_hear_type(TYPE_STATUS, b) && b[2] == TRIPPED, "nor the state");
}

/* Sampling stops after 5 s without a heartbeat, and stays stopped as the clock wraps. */
static void quiet(void) {
	fake_ready(100);
	fake.beating = false;
	fake_run(4900);
	CHECK(stand.hz == 100, "stopped early");
	fake_run(110);
	CHECK(stand.hz == 0, "5 s without a heartbeat and it samples on");
	stand.joint[0].set.known = true;
	for (int k = 0; k < 200; k++) {
		fake.us += 30000000;
		stand_turn();
	}
	fake_tell("bb", 6L, 3L);
	fake_tell("bbwb", 7L, 4L, (long)stand.token, 1L);
	CHECK(fake_answer(4) == CODE_NO_HEARTBEAT, "an hour of silence is a heartbeat");
}

int main(void) {
	heartbeat();
	current(500);
	current(250);
	current_without_limit();
	current_at_the_end();
	range();
	bus(HAS_ANGLE, 500, 98, 6, 51);
	bus(HAS_CURRENT, 1000, 99, 3, 101);
	bus(HAS_SUPPLY, 100, 160, 12, 50);
	silent_for_a_while();
	supply();
	watchdog();
	button();
	other_ends();
	blocked();
	quiet();
	return 0;
}
