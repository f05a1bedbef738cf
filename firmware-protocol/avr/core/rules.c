#include "rules.h"

#include "stand.h"

#define OUTSIDE_TIMES 3
#define LOW_US UINT32_C(20000)

static void count_silence(struct watch *w, uint8_t missing) {
	if (!missing && !w->any_silent) /* nearly always */
		return;
	w->any_silent = missing != 0;
	for (uint8_t k = 0; k < SENSORS; k++, missing = missing >> 1) {
		if (!(missing & 1))
			w->silent[k] = 0;
		else if (w->silent[k] < 0xFF)
			w->silent[k]++;
	}
}

static bool look_current(uint8_t joint, const struct joint *j, struct watch *w, const struct reading *r) {
	uint16_t max = j->set.current_max;
	if (max == 0 || r->current < 0 || (uint16_t)r->current <= max) {
		w->over = false;
	} else if (!w->over) {
		w->over = true;
		w->over_at = r->time;
	} else if (r->time - w->over_at > (uint32_t)j->set.over * 1000) {
		stand_trip(REASON_CURRENT, joint, r->current, max);
		return true;
	}
	return false;
}

/* As many readings on end as stand.silent_limit: 50, or those of 100 ms where these are more. */
static bool look_silence(uint8_t joint, const struct watch *w) {
	uint8_t limit = stand.silent_limit;
	for (uint8_t k = 0; k < SENSORS; k++)
		if (w->silent[k] >= limit) {
			stand_trip(REASON_BUS, joint, w->silent[k], limit);
			return true;
		}
	return false;
}

static bool look_range(uint8_t joint, const struct joint *j, struct watch *w) {
	int32_t at = j->angle.mdeg;
	if (at <= j->set.highest && at >= j->set.lowest) {
		w->outside = 0;
		return false;
	}
	if (++w->outside < OUTSIDE_TIMES)
		return false;
	stand_trip(REASON_RANGE, joint, at, at > j->set.max ? j->set.max : j->set.min);
	return true;
}

static void look_supply(const struct reading *r) {
	if (r->supply >= SUPPLY_MIN_MV)
		stand.low = false;
	else if (!stand.low) {
		stand.low = true;
		stand.low_at = r->time;
	} else if (r->time - stand.low_at >= LOW_US)
		stand_trip(REASON_SUPPLY, NO_JOINT, r->supply, SUPPLY_MIN_MV);
}

void rules_look(struct joint *j, uint8_t joint, const struct reading *r, uint8_t has) {
	struct watch *w = &j->watch;
	count_silence(w, (uint8_t)(has & ~r->has));
	if (!j->armed)
		return;
	if ((r->has & HAS_CURRENT) && look_current(joint, j, w, r))
		return;
	if (w->any_silent && look_silence(joint, w))
		return;
	if ((r->has & HAS_ANGLE) && look_range(joint, j, w))
		return;
	if (r->has & HAS_SUPPLY)
		look_supply(r);
}
