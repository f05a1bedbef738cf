#include "moves.h"

#define START_RATE UINT32_C(30000) /* mdeg/s, the most of the first move after arming */

void player_hold(struct player *p, int32_t command) {
	p->command = command;
	p->n = 0;
	p->first = 0;
	p->fresh = true;
}

/* Begins the first move of the queue at p->mark. */
static void begin(struct player *p) {
	struct move *m = &p->queue[p->first];
	if (p->fresh && (m->rate == 0 || m->rate > START_RATE))
		m->rate = START_RATE;
	p->fresh = false;
	p->at = p->command;
	p->part = 0;
	p->down = m->target < p->at;
	p->left = p->down ? (uint32_t)p->at - (uint32_t)m->target : (uint32_t)m->target - (uint32_t)p->at;
	p->wait = m->dwell;
	if (m->rate == 0)
		p->left = 0;
	p->per_ms = (uint16_t)(m->rate / 1000);
	p->thou = (uint16_t)(m->rate % 1000);
}

void player_add(struct player *p, const struct move *m, uint32_t now) {
	uint8_t at = (uint8_t)(p->first + p->n);
	if (at >= QUEUE)
		at = (uint8_t)(at - QUEUE);
	p->queue[at] = *m;
	if (p->n++ == 0) {
		p->mark = now;
		begin(p);
	}
}

void player_next(struct player *p) {
	if (++p->first == QUEUE)
		p->first = 0;
	if (--p->n)
		begin(p);
}

static int32_t gone(const struct player *p, uint16_t mdeg) { return p->down ? p->at - mdeg : p->at + mdeg; }

/* us from the mark to the target when that is less than the next ms away, else 1000. */
static uint16_t arrives(const struct player *p) {
	uint32_t rate = (uint32_t)p->per_ms * 1000 + p->thou, to_go;
	if (p->left > (uint32_t)p->per_ms + 1)
		return 1000;
	to_go = p->left * 1000 - p->part; /* thousandths of a mdeg; the rate is as many each ms */
	if (to_go > rate)
		return 1000;
	while (to_go > 4000000) { /* keeps the product below in 32 bits */
		to_go >>= 1;
		rate >>= 1;
	}
	return (uint16_t)((to_go * 1000 + rate / 2) / rate);
}

/* The command some us, less than a ms, behind the mark. */
static void between(struct player *p, uint16_t us) {
	/* Divided by 1000 as shifts and a product: 5e-4 too little within one ms, which adds up to nothing. */
	uint32_t thousandths = (uint32_t)p->per_ms * us + p->part;
	p->command = gone(p, (uint16_t)((thousandths >> 3) * 524 >> 16));
}

bool player_run(struct player *p, uint32_t now) {
	while (p->n) {
		uint32_t since = now - p->mark;
		if (since & 0x80000000UL)
			return false; /* a sample that was taken before the move came */
		if (p->left) {
			uint16_t us = arrives(p);
			if (since < us) {
				between(p, (uint16_t)since);
				return false;
			}
			p->mark += us;
			if (us < 1000) {
				p->left = 0;
				continue;
			}
			us = p->per_ms;
			p->part = (uint16_t)(p->part + p->thou);
			if (p->part >= 1000) {
				p->part = (uint16_t)(p->part - 1000);
				us++;
			}
			p->at = gone(p, us);
			p->left -= us;
			continue;
		}
		p->command = player_move(p)->target;
		if (p->wait == 0)
			return true;
		if (since < 1000)
			return false;
		p->mark += 1000;
		p->wait--;
	}
	return false;
}
