#include "rules.h"

#include "stand.h"

#define OUTSIDE_MDEG 3000
#define OUTSIDE_TIMES 3
#define LOW_US 20000UL

static void count_silence(struct watch *w, uint8_t missing) {
	for (uint8_t k = 0; k < SENSORS; k++, missing = missing >> 1) {
		if (!(missing & 1))
			w->silent[k] = 0;
		else if (w->silent[k] < 0xFF)
			w->silent[k]++;
	}
}

static void look_current(uint8_t joint, const struct reading *r) {
	struct joint *j = &stand.joint[joint];
	struct watch *w = &j->watch;
	uint16_t max = j->set.current_max;
	if (!(r->has & HAS_CURRENT))
		return;
	if (max == 0 || (int32_t)r->current <= (int32_t)max)
		w->over = false;
	else if (!w->over) {
		w->over = true;
		w->over_at = r->time;
	} else if (r->time - w->over_at > (uint32_t)j->set.over * 1000)
		stand_trip(REASON_CURRENT, joint, r->current, max);
}

/* 50 readings on end, or those of 100 ms where these are more. */
static void look_silence(uint8_t joint) {
	struct watch *w = &stand.joint[joint].watch;
	uint8_t limit = stand.silent_limit;
	for (uint8_t k = 0; k < SENSORS; k++)
		if (w->silent[k] >= limit) {
			stand_trip(REASON_BUS, joint, w->silent[k], limit);
			return;
		}
}

static void look_range(uint8_t joint, const struct reading *r) {
	struct joint *j = &stand.joint[joint];
	int32_t end = j->set.max;
	bool outside = j->angle.mdeg > j->set.max + OUTSIDE_MDEG;
	if (!(r->has & HAS_ANGLE))
		return;
	if (j->angle.mdeg < j->set.min - OUTSIDE_MDEG) {
		outside = true;
		end = j->set.min;
	}
	if (!outside)
		j->watch.outside = 0;
	else if (++j->watch.outside >= OUTSIDE_TIMES)
		stand_trip(REASON_RANGE, joint, j->angle.mdeg, end);
}

static void look_supply(const struct reading *r) {
	if (!(r->has & HAS_SUPPLY))
		return;
	if (r->supply >= SUPPLY_MIN_MV)
		stand.low = false;
	else if (!stand.low) {
		stand.low = true;
		stand.low_at = r->time;
	} else if (r->time - stand.low_at >= LOW_US)
		stand_trip(REASON_SUPPLY, NO_JOINT, r->supply, SUPPLY_MIN_MV);
}

void rules_look(uint8_t joint, const struct reading *r) {
	struct joint *j = &stand.joint[joint];
	count_silence(&j->watch, (uint8_t)(board_caps(joint).has & ~r->has));
	if (j->armed)
		look_current(joint, r);
	if (j->armed) /* a trip disarms */
		look_silence(joint);
	if (j->armed)
		look_range(joint, r);
	if (j->armed)
		look_supply(r);
}
