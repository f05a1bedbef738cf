/* What becomes of a reading: angles in the joint's own sense, the command at that moment, a sample, the rules. */
#include "stand.h"

#define PULSE_US 2900 /* between two works on a width */

/* 256ths of a mdeg per count: 360,000 times 256 over a turn's counts, a whole number. 8 bits more than mdeg are taken off
   by leaving a byte out. */
static uint16_t scale(uint16_t turn) { return turn == 4096 ? 22500 : 45000; }

/* Carries a sensor that wraps on over its turns, by the shorter way. It starts within half a turn of 0. */
static inline void unwrap(struct angle *a, uint16_t raw, uint16_t turn) {
	uint16_t step = raw;
	if (a->seen)
		step = (uint16_t)(raw - a->raw);
	else
		a->way = 0;
	a->seen = true;
	a->raw = raw;
	step &= (uint16_t)(turn - 1);
	if (step >= turn / 2)
		step = (uint16_t)(step - turn);
	if (turn != 4096)
		step = (uint16_t)(step * 2); /* a count of 1024 is 90,000, more than 16 bits hold */
	a->way += (int32_t)(int16_t)step * scale(turn);
}

static void in_joint_sense(struct angle *a, int32_t zero, bool back) {
	a->mdeg = ((a->way + 128) >> 8) - zero;
	if (back)
		a->mdeg = -a->mdeg;
}

static COLD void angle_take(struct angle *a, uint16_t raw, uint16_t turn, int32_t zero, bool back) {
	unwrap(a, raw, turn);
	in_joint_sense(a, zero, back);
}

static bool fits24(int32_t v) {
	int8_t top = (int8_t)(v >> 24);
	return top == (int8_t)(v >> 16) >> 7;
}

/* Keeps the command of a limp joint where its pulses would begin: at the angle its sensor shows, within the range. The
   last two counts do not count, so that the command of a leg at rest is at rest. Without that sensor the last command
   stays, or the middle. */
static COLD void follow(struct joint *j, bool has_angle, uint16_t turn) {
	int32_t at = j->player.command, off;
	int32_t quantum = turn == 4096 ? 175 : 703; /* two counts */
	if (has_angle)
		at = j->angle.mdeg;
	else if (j->set.known && !j->commanded && !j->angle.seen)
		at = j->set.min + (j->set.max - j->set.min) / 2;
	if (j->set.known) {
		if (at < j->set.min)
			at = j->set.min;
		if (at > j->set.max)
			at = j->set.max;
	}
	off = at - j->player.command;
	if (off > quantum || off < -quantum || !has_angle)
		j->player.command = at;
}

void stand_anew(uint8_t joint) {
	struct joint *j = &stand.joint[joint];
	const struct caps *c = board_caps(joint);
	in_joint_sense(&j->angle, j->set.zero, j->set.joint_back);
	follow(j, (c->has & HAS_ANGLE) && j->angle.seen, c->joint_turn);
}

static void sample(uint8_t joint, struct joint *j, const struct reading *r) {
	uint8_t has = r->has;
	if (!fits24(j->angle.mdeg)) /* what the wire can not carry is left out */
		has &= (uint8_t)~HAS_ANGLE;
	if (!fits24(j->motor.mdeg))
		has &= (uint8_t)~HAS_MOTOR;
	pack_add(j, joint, has, r);
	j->seq++;
}

/* A pulse comes each 3 ms at most, so a width each 3 will do. */
static COLD void pulse(uint8_t joint, struct joint *j, uint16_t now) {
	j->pulse_at = now;
	board_pulse(joint, pulse_of(&j->set, j->player.command));
}

void stand_reading(uint8_t joint, const struct reading *r, bool as_sample) {
	struct joint *j = &stand.joint[joint];
	const struct caps *c = board_caps(joint);
	uint8_t has = r->has;
	OPAQUE(j);
	if (has & HAS_ANGLE)
		angle_take(&j->angle, r->angle, c->joint_turn, j->set.zero, j->set.joint_back);
	if (has & HAS_MOTOR)
		angle_take(&j->motor, r->motor, c->motor_turn, j->set.motor_zero, j->set.motor_back);
	if (j->armed) {
		while (player_run(&j->player, r->time)) {
			stand_gone(joint, 0, j->player.mark);
			player_next(&j->player);
		}
		if ((uint16_t)((uint16_t)r->time - j->pulse_at) >= PULSE_US)
			pulse(joint, j, (uint16_t)r->time);
	} else
		follow(j, has & HAS_ANGLE, c->joint_turn);
	if (j->sampled && as_sample)
		sample(joint, j, r);
	rules_look(j, joint, r, c->has);
}
