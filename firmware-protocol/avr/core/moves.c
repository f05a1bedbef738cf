#include "moves.h"

#include "board.h"

#define START_PER_MS 30 /* mdeg each ms, the most of the first move after arming */

void move_rate(struct move *m, uint32_t rate) {
	m->per_ms = (uint16_t)(rate / 1000);
	m->thou = (uint16_t)(rate - (uint32_t)m->per_ms * 1000);
}

static void rest(struct player *p) {
	p->segment = 0;
	p->kind = 0;
}

void player_hold(struct player *p, int32_t command) {
	p->command = command;
	p->n = 0;
	p->first = 0;
	p->fresh = true;
	rest(p);
}

/* Begins the first move of the queue at p->mark. */
static COLD void begin(struct player *p) {
	const struct move *m = &p->queue[p->first];
	bool once = (m->per_ms | m->thou) == 0;
	p->per_ms = m->per_ms;
	p->thou = m->thou;
	if (p->fresh && (once || p->per_ms >= START_PER_MS)) {
		p->per_ms = START_PER_MS;
		p->thou = 0;
		once = false;
	}
	p->fresh = false;
	p->at = p->command;
	p->part = 0;
	p->down = m->target < p->at;
	p->left = p->down ? (uint32_t)p->at - (uint32_t)m->target : (uint32_t)m->target - (uint32_t)p->at;
	if (once)
		p->left = 0;
	p->wait = m->dwell;
	p->segment = m->segment;
	p->kind = m->kind;
}

void player_add(struct player *p, const struct move *m, uint32_t now) {
	uint8_t at = (uint8_t)(p->first + p->n);
	if (at >= QUEUE)
		at = (uint8_t)(at - QUEUE);
	p->queue[at] = *m;
	if (p->n++ == 0) {
		p->mark = now;
		begin(p);
		rest(p);
		p->early = true;
	}
}

void player_drop(struct player *p) {
	rest(p);
	if (++p->first == QUEUE)
		p->first = 0;
	p->n--;
}

void player_next(struct player *p) {
	player_drop(p);
	if (p->n)
		begin(p);
}

/* us from the mark to the target when that is less than the next ms away, else 1000. Kept apart, as are others that run
   once per move: in one function all would cost each sample the saving of its registers. */
static COLD uint16_t arrives(const struct player *p) {
	uint32_t rate = (uint32_t)p->per_ms * 1000 + p->thou, to_go;
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
static COLD void between(struct player *p, uint16_t us) {
	/* The share of a ms in 65536ths, 1.3e-5 too little, and part as 64ths of a 65th: two products of 16 bits. */
	uint16_t share = (uint16_t)((uint32_t)us * 16777 >> 8);
	uint16_t way = (uint16_t)(((uint32_t)p->per_ms * share + (uint16_t)(p->part << 6)) >> 16);
	int32_t at = p->at;
	if (p->down)
		at -= way;
	else
		at += way;
	p->command = at;
}

/* A ms of way. */
static inline void step(struct player *p) {
	uint16_t way = p->per_ms, part = (uint16_t)(p->part + p->thou);
	if (part >= 1000) {
		part = (uint16_t)(part - 1000);
		way++;
	}
	p->part = part;
	p->left -= way;
	if (p->down)
		p->at -= way;
	else
		p->at += way;
}

/* At the target since some us. */
static COLD bool dwell(struct player *p, uint32_t since) {
	p->command = player_move(p)->target;
	for (;;) {
		if (p->wait == 0)
			return true;
		if (since < 1000)
			return false;
		since -= 1000;
		p->mark += 1000;
		p->wait--;
	}
}

/* The first move came when nothing was under way; a moment that was looked at later may lie before. */
static COLD bool comes(struct player *p, uint32_t now) {
	const struct move *m = player_move(p);
	if ((now - p->mark) & 0x80000000UL)
		return false;
	p->early = false;
	p->segment = m->segment;
	p->kind = m->kind;
	return true;
}

bool player_run(struct player *p, uint32_t now) {
	uint32_t since;
	OPAQUE(p);
	if (p->n == 0 || (p->early && !comes(p, now)))
		return false;
	since = now - p->mark;
	while (p->left) {
		uint16_t us = 1000;
		if (p->left < 0x10000 && (uint16_t)p->left <= (uint16_t)(p->per_ms + 1))
			us = arrives(p);
		if (since < us) {
			between(p, (uint16_t)since);
			return false;
		}
		since -= us;
		p->mark += us;
		if (us == 1000)
			step(p);
		else
			p->left = 0;
	}
	return dwell(p, since);
}
