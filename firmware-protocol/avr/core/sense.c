/* What becomes of a reading: angles in the joint's own sense, the command at that moment, a sample, the rules. */
#include "stand.h"

/* Carries a sensor that wraps on over its turns, by the shorter way. */
static void unwrap(struct angle *a, uint16_t raw, uint8_t bits) {
	uint8_t spare = (uint8_t)(16 - bits);
	/* A difference moved to the top of 16 bits is signed by itself. */
	int16_t way = (int16_t)(uint16_t)((uint16_t)(raw - a->raw) << spare);
	if (!a->seen) { /* starts within half a turn of 0 */
		a->counts = 0;
		way = (int16_t)(uint16_t)(raw << spare);
		a->seen = true;
	}
	a->counts += way >> spare;
	a->raw = raw;
}

static void angle_take(struct angle *a, uint16_t raw, uint8_t bits, int32_t zero, bool back) {
	unwrap(a, raw, bits);
	/* 360,000 mdeg over 2^bits counts is 5625 over 2^(bits-6). */
	a->mdeg = (a->counts * 5625 + (1 << (bits - 7))) >> (bits - 6);
	a->mdeg -= zero;
	if (back)
		a->mdeg = -a->mdeg;
}

static bool fits24(int32_t v) { return v >= -0x800000 && v <= 0x7FFFFF; }

/* Keeps the command of a limp joint where its pulses would begin: at the angle its sensor shows, within the range. The
   last two counts do not count, so that the command of a leg at rest is at rest. Without that sensor the last command
   stays, or the middle. */
static void follow(struct joint *j, bool has_angle, uint8_t bits) {
	int32_t at = j->player.command, off;
	int32_t quantum = 720000L >> bits;
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

static void sample(uint8_t joint, const struct reading *r) {
	struct joint *j = &stand.joint[joint];
	struct sample s;
	s.has = r->has & (HAS_ANGLE | HAS_MOTOR | HAS_CURRENT | HAS_SUPPLY);
	s.kind = 0;
	s.segment = 0;
	if (j->player.n) {
		s.kind = player_move(&j->player)->kind;
		s.segment = player_move(&j->player)->segment;
	}
	s.seq = j->seq++;
	s.time = r->time;
	s.command = j->player.command;
	s.angle = j->angle.mdeg;
	s.motor = j->motor.mdeg;
	s.current = r->current;
	s.supply = r->supply;
	if (!fits24(s.angle)) /* what the wire can not carry is left out */
		s.has &= (uint8_t)~HAS_ANGLE;
	if (!fits24(s.motor))
		s.has &= (uint8_t)~HAS_MOTOR;
	if (!pack_add(&j->pack, joint, &s)) {
		stand_flush(joint);
		pack_add(&j->pack, joint, &s);
	}
}

void stand_reading(uint8_t joint, const struct reading *r, bool as_sample) {
	struct joint *j = &stand.joint[joint];
	struct caps c = board_caps(joint);
	if (r->has & HAS_ANGLE)
		angle_take(&j->angle, r->angle, c.joint_bits, j->set.known ? j->set.zero : 0, j->set.known && j->set.joint_back);
	if (r->has & HAS_MOTOR)
		angle_take(&j->motor, r->motor, c.motor_bits, j->set.known ? j->set.motor_zero : 0, j->set.known && j->set.motor_back);
	if (j->armed) {
		while (player_run(&j->player, r->time)) {
			stand_gone(joint, 0, j->player.mark);
			player_next(&j->player);
		}
		board_pulse(joint, pulse_of(&j->set, j->player.command));
	} else
		follow(j, r->has & HAS_ANGLE, c.joint_bits);
	if (j->sampled && as_sample)
		sample(joint, r);
	rules_look(joint, r);
}
