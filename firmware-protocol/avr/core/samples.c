#include "samples.h"

#include "stand.h"

static bool far_apart(int32_t a, int32_t b) { return a - b > 32767 || a - b < -32768; }

/* The fields behind time and command; a first sample bears whole angles, the others steps. */
static uint8_t *fields(uint8_t *at, const struct sample *s, const struct sample *from) {
	if (s->has & HAS_ANGLE)
		at = from ? put16(at, (uint16_t)(s->angle - from->angle)) : put24(at, (uint32_t)s->angle);
	if (s->has & HAS_MOTOR)
		at = from ? put16(at, (uint16_t)(s->motor - from->motor)) : put24(at, (uint32_t)s->motor);
	if (s->has & HAS_CURRENT)
		at = put16(at, (uint16_t)s->current);
	if (s->has & HAS_SUPPLY)
		at = put16(at, s->supply);
	return at;
}

static uint8_t width(uint8_t has) {
	uint8_t n = 4;
	for (uint8_t bit = 1; bit <= HAS_SUPPLY; bit = (uint8_t)(bit << 1))
		if (has & bit)
			n = (uint8_t)(n + 2);
	return n;
}

static bool fits(const struct pack *p, const struct sample *s) {
	const struct sample *l = &p->last;
	return s->has == l->has && s->kind == l->kind && s->segment == l->segment && s->seq == (uint16_t)(l->seq + 1) &&
	       s->time - l->time <= 65535 && !far_apart(s->command, l->command) &&
	       !((s->has & HAS_ANGLE) && far_apart(s->angle, l->angle)) &&
	       !((s->has & HAS_MOTOR) && far_apart(s->motor, l->motor)) && p->len + width(s->has) <= MAX_BODY;
}

bool pack_add(struct pack *p, uint8_t joint, const struct sample *s) {
	uint8_t *at;
	if (p->n) {
		if (!fits(p, s))
			return false;
		at = put16(p->body + p->len, (uint16_t)(s->time - p->last.time));
		at = put16(at, (uint16_t)(s->command - p->last.command));
		at = fields(at, s, &p->last);
	} else {
		at = put8(p->body, TYPE_SAMPLES);
		at = put8(at, joint);
		at = put8(at, s->has);
		at = put8(at, s->kind);
		at = put16(at, s->segment);
		at = put16(at, s->seq);
		at = put32(at, s->time);
		at = put24(at, (uint32_t)s->command);
		at = fields(at, s, 0);
		p->began = s->time;
	}
	p->last = *s;
	p->len = (uint8_t)(at - p->body);
	p->n++;
	return true;
}
