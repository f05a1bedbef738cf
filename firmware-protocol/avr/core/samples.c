#include "samples.h"

#include "stand.h"

#define LONGEST (12 + 3 + 3 + 3 + 2 + 2) /* a first sample with all fields */

static bool fits16(int32_t v) { return v == (int16_t)v; }

/* The frame has one byte more than the body, for the stuffing. */
static bool full(const struct pack *p) { return p->frame.n - 1 + p->width > p->limit; }

static uint8_t *begin(uint8_t *at, struct joint *j, uint8_t joint, uint8_t has, const struct reading *r) {
	struct pack *p = &j->pack;
	at = put8(at, TYPE_SAMPLES);
	at = put8(at, joint);
	at = put8(at, has);
	at = put8(at, p->kind);
	at = put16(at, p->segment);
	at = put16(at, j->seq);
	at = put32(at, r->time);
	at = put24(at, (uint32_t)j->player.command);
	if (has & HAS_ANGLE)
		at = put24(at, (uint32_t)j->angle.mdeg);
	if (has & HAS_MOTOR)
		at = put24(at, (uint32_t)j->motor.mdeg);
	p->width = 4;
	for (uint8_t bit = 1; bit <= HAS_SUPPLY; bit = (uint8_t)(bit << 1))
		if (has & bit)
			p->width = (uint8_t)(p->width + 2);
	p->has = has;
	p->began = r->time;
	frame_begin(&p->frame);
	return at;
}

/* The next sample in steps from the last; null when a step does not fit. */
static uint8_t *follow(uint8_t *at, const struct joint *j, uint8_t has, const struct reading *r) {
	const struct pack *p = &j->pack;
	int32_t step;
	if (r->time - p->time > 0xFFFF)
		return 0;
	at = put16(at, (uint16_t)(r->time - p->time));
	step = j->player.command - p->command;
	if (!fits16(step))
		return 0;
	at = put16(at, (uint16_t)step);
	if (has & HAS_ANGLE) {
		step = j->angle.mdeg - p->angle;
		if (!fits16(step))
			return 0;
		at = put16(at, (uint16_t)step);
	}
	if (has & HAS_MOTOR) {
		step = j->motor.mdeg - p->motor;
		if (!fits16(step))
			return 0;
		at = put16(at, (uint16_t)step);
	}
	return at;
}

void pack_add(struct joint *j, uint8_t joint, uint8_t has, const struct reading *r) {
	struct pack *p = &j->pack;
	uint8_t b[LONGEST], *at = 0, kind = 0;
	uint16_t segment = 0;
	if (j->player.n) {
		kind = player_move(&j->player)->kind;
		segment = player_move(&j->player)->segment;
	}
	if (p->n) {
		bool was_full = full(p);
		if (has == p->has && segment == p->segment && kind == p->kind && j->seq == p->next && !was_full)
			at = follow(b, j, has, r);
		if (!at) {
			stand_flush(joint);
			if (was_full)
				p->limit = MAX_BODY;
		}
	}
	if (!at) {
		p->kind = kind;
		p->segment = segment;
		at = begin(b, j, joint, has, r);
	}
	if (has & HAS_CURRENT)
		at = put16(at, (uint16_t)r->current);
	if (has & HAS_SUPPLY)
		at = put16(at, r->supply);
	frame_add(&p->frame, p->buf, b, (uint8_t)(at - b));
	p->time = r->time;
	p->command = j->player.command;
	p->angle = j->angle.mdeg;
	p->motor = j->motor.mdeg;
	p->next = (uint16_t)(j->seq + 1);
	p->n++;
}
