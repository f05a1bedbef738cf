/* What setup_joint says, worked out once so that a pulse costs two products. */
#include "stand.h"

#define OUTSIDE_MDEG 3000 /* beyond the range, then the stand trips */

enum code setup_read(struct setup *s, const uint8_t *b, uint16_t frame_hz) {
	int32_t from = get24(b + 14), to = get24(b + 17);
	uint16_t shortest = get16(b + 10), longest = get16(b + 12);
	uint32_t way, pulses, slope;
	if (get24(b + 4) >= get24(b + 7) || shortest >= longest || longest > UINT32_C(1000000) / frame_hz - PULSE_GAP_US || from == to)
		return CODE_VALUE;
	way = from < to ? (uint32_t)to - (uint32_t)from : (uint32_t)from - (uint32_t)to;
	pulses = UINT32_C(2) * (uint32_t)(longest - shortest);
	/* The slope pulses/way as 16 bits and a power of two: way has 25 bits at most, pulses 16. */
	if (pulses >= way)
		return CODE_VALUE; /* not more than a mdeg per half us: no servo does that */
	s->shift = 0;
	slope = 0;
	/* Long division, bit by bit, until the slope fills 16 bits. */
	while (!(slope & 0x8000UL)) {
		pulses <<= 1;
		slope <<= 1;
		if (pulses >= way) {
			pulses -= way;
			slope |= 1;
		}
		s->shift++;
	}
	if (pulses * 2 >= way && slope != 0xFFFF)
		slope++;
	s->slope = (uint16_t)slope;
	s->falling = to < from;
	s->pulse_at = from;
	s->shortest = (uint16_t)(2 * shortest);
	s->longest = (uint16_t)(2 * longest);
	s->joint_back = b[3] & 1;
	s->motor_back = b[3] & 2;
	s->min = get24(b + 4);
	s->max = get24(b + 7);
	s->lowest = s->min - OUTSIDE_MDEG;
	s->highest = s->max + OUTSIDE_MDEG;
	s->current_max = get16(b + 20);
	s->over = get16(b + 22);
	s->zero = get24(b + 24);
	s->motor_zero = get24(b + 27);
	s->known = true;
	return TAKEN;
}

/* The width for a command, in half us. A range that reaches beyond the two points of the line ends at their pulses: no
   servo is sent where nobody said it may go. */
uint16_t pulse_of(const struct setup *s, int32_t command) {
	uint32_t way = (uint32_t)command - (uint32_t)s->pulse_at, half_us;
	if (s->falling)
		way = 0 - way;
	if (way & 0x80000000UL)
		return s->shortest;
	/* slope times way has up to 41 bits: its upper part first. shift is at least 16, as pulses < way. */
	half_us = (way >> 16) * s->slope + (((way & 0xFFFF) * s->slope + 0x8000) >> 16);
	if (s->shift > 16)
		half_us = (half_us + (UINT32_C(1) << (s->shift - 17))) >> (s->shift - 16);
	half_us += s->shortest;
	if (half_us > s->longest)
		return s->longest;
	return (uint16_t)half_us;
}
