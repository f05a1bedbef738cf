/* The sample clock: when turns of the sensors are due, which of them are samples, and what was lost. Sections 4 and 5 of SPEC.md. */
#include "stand.h"

#define WATCH_HZ 250       /* how often the sensors are read at least, for the rules' sake */
#define SILENT_TIMES 50
#define LOST_PERIODS 10    /* of the sample clock, then the stand trips */

void stand_rate(uint16_t hz, uint8_t mask) {
	for (uint8_t i = 0; i < JOINTS; i++) {
		stand_flush(i);
		stand.joint[i].sampled = hz && (mask >> i & 1);
	}
	stand.hz = hz;
	if (hz == 0)
		hz = WATCH_HZ;
	stand.every = (uint8_t)((WATCH_HZ + hz - 1) / hz);
	stand.turn_hz = (uint16_t)(hz * stand.every);
	stand.period = (uint16_t)(UINT32_C(1000000) / stand.turn_hz);
	stand.rest = (uint16_t)(UINT32_C(1000000) % stand.turn_hz);
	stand.late_after = (uint32_t)stand.period * stand.every / 4;
	stand.lost_after = (uint32_t)stand.period * stand.every * LOST_PERIODS;
	stand.on_time = stand.late_after < stand.period ? (uint16_t)stand.late_after : (uint16_t)(stand.period - 1);
	stand.silent_limit = SILENT_TIMES;
	if (stand.turn_hz / 10 >= SILENT_TIMES) /* 100 ms lie between the first of so many and the last */
		stand.silent_limit = (uint8_t)(stand.turn_hz / 10 + 1);
	stand.gathered = 0;
	stand.turn = 0;
	stand.next = board_now();
	stand.anew = true;
	stand.rates++;
}

/* One period of the turn clock has gone. The periods are whole us that add up to whole seconds. */
static void step(void) {
	stand.next += stand.period;
	stand.gathered = (uint16_t)(stand.gathered + stand.rest);
	if (stand.gathered >= stand.turn_hz) {
		stand.gathered = (uint16_t)(stand.gathered - stand.turn_hz);
		stand.next++;
	}
	if (++stand.turn == stand.every)
		stand.turn = 0;
}

static void lose(uint16_t n) {
	for (uint8_t i = 0; i < JOINTS; i++) {
		struct joint *j = &stand.joint[i];
		if (j->sampled) {
			stand_flush(i);
			j->seq = (uint16_t)(j->seq + n);
			j->dropped = (uint16_t)(j->dropped + n);
		}
	}
}

/* Far behind: what was lost is counted in one go. */
static uint16_t lost(uint32_t behind) {
	stand.next += behind;
	stand.turn = 0;
	if (stand.state == ARMED)
		stand_trip(REASON_WATCHDOG, NO_JOINT, (int32_t)behind, (int32_t)stand.lost_after);
	return (uint16_t)(behind / ((uint32_t)stand.period * stand.every));
}

static void late(void) {
	for (uint8_t i = 0; i < JOINTS; i++)
		if (stand.joint[i].sampled)
			stand.joint[i].late++;
}

/* A turn that begins the count, or was not begun on time: what was lost is counted. Returns how late it is. */
static uint32_t look(uint32_t begun, uint32_t behind, struct due *due) {
	if (stand.anew) {
		stand.anew = false;
		stand.next = begun;
		return 0;
	}
	if (behind > stand.lost_after) {
		due->lost = lost(behind);
		return 0;
	}
	while (behind >= stand.period) {
		if (stand.turn == 0)
			due->lost++;
		step();
		behind = begun - stand.next;
		if (behind & 0x80000000) /* a period that is a us longer */
			return 0;
	}
	return behind;
}

struct due stand_due(uint32_t begun) {
	uint32_t behind = begun - stand.next;
	struct due due = {false, stand.rates, 0};
	if (behind & 0x80000000UL)
		return due; /* begun before the rate was changed */
	if (behind > stand.on_time || stand.anew)
		behind = look(begun, behind, &due);
	if (stand.turn == 0 && stand.hz) { /* without hz it would be the first sample of what is asked for meanwhile */
		due.sample = true;
		if (behind > stand.late_after)
			late();
	}
	step();
	return due;
}

bool stand_gathered(const struct due *due) {
	if (due->rates != stand.rates)
		return false;
	if (due->lost)
		lose(due->lost);
	return due->sample;
}
