#include "samples.h"

#include "stand.h"

#define LONGEST (12 + 3 + 3 + 3 + 2 + 2) /* a first sample with all fields */

/* How many samples a message is to have. Those of different joints are to be full at different times, and so each ends at
   numbers of its own: the line's ring need not hold a message of each, and one per turn is work enough. */
static uint8_t share(const struct joint *j, uint8_t joint, uint8_t first, uint8_t width) {
	uint8_t most = (uint8_t)((MAX_BODY - first) / width + 1);
	uint16_t at = (uint16_t)(j->seq + (uint8_t)(joint * most) / JOINTS);
	return (uint8_t)(most - at % most);
}

static COLD uint8_t *begin(uint8_t *at, struct joint *j, uint8_t joint, uint8_t has, const struct reading *r) {
	struct pack *p = &j->pack;
	uint8_t width = 4;
	at = put8(at, TYPE_SAMPLES);
	at = put8(at, joint);
	at = put8(at, has);
	at = put8(at, j->player.kind);
	at = put16(at, j->player.segment);
	at = put16(at, j->seq);
	at = put32(at, r->time);
	at = put24(at, (uint32_t)j->player.command);
	if (has & HAS_ANGLE)
		at = put24(at, (uint32_t)j->angle.mdeg);
	if (has & HAS_MOTOR)
		at = put24(at, (uint32_t)j->motor.mdeg);
	for (uint8_t bit = 1; bit <= HAS_SUPPLY; bit = (uint8_t)(bit << 1))
		if (has & bit)
			width = (uint8_t)(width + 2);
	/* Angles of a first sample have a byte more, and its head 11 more than a step of time and of the command. */
	p->full = share(j, joint, (uint8_t)(width + 11 + ((has & HAS_ANGLE) != 0) + ((has & HAS_MOTOR) != 0)), width);
	p->has = has;
	p->segment = j->player.segment;
	p->began = p->time = r->time;
	p->command = j->player.command;
	p->angle = j->angle.mdeg;
	p->motor = j->motor.mdeg;
	frame_begin(&p->frame);
	return at;
}

/* A step from the last value; false when it has more than 16 bits, and the next message begins with the value anyway. */
static COLD bool step(uint8_t *at, int32_t now, int32_t *last) {
	uint32_t by = (uint32_t)now - (uint32_t)*last;
	*last = now;
	put16(at, (uint16_t)by);
	return by + 0x8000 < 0x10000;
}

/* The next sample in steps from the last; null when one does not fit. */
static inline uint8_t *follow(uint8_t *at, struct joint *j, uint8_t has, const struct reading *r) {
	struct pack *p = &j->pack;
	uint32_t pause = r->time - p->time;
	p->time = r->time;
	at = put16(at, (uint16_t)pause);
	if (pause > 0xFFFF || !step(at, j->player.command, &p->command))
		return 0;
	at += 2;
	if (has & HAS_ANGLE) {
		if (!step(at, j->angle.mdeg, &p->angle))
			return 0;
		at += 2;
	}
	if (has & HAS_MOTOR) {
		if (!step(at, j->motor.mdeg, &p->motor))
			return 0;
		at += 2;
	}
	return at;
}

void pack_add(struct joint *j, uint8_t joint, uint8_t has, const struct reading *r) {
	struct pack *p = &j->pack;
	uint8_t b[LONGEST], *at = 0;
	OPAQUE(p);
	if (p->n) {
		/* A move's number tells its kind too. Where numbers are skipped the message was ended. */
		if (p->n < p->full && has == p->has && j->player.segment == p->segment)
			at = follow(b, j, has, r);
		if (!at)
			stand_flush(joint);
	}
	if (!at)
		at = begin(b, j, joint, has, r);
	if (has & HAS_CURRENT)
		at = put16(at, (uint16_t)r->current);
	if (has & HAS_SUPPLY)
		at = put16(at, r->supply);
	frame_add(&p->frame, p->buf, b, (uint8_t)(at - b));
	p->n++;
}
