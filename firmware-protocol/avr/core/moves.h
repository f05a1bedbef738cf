/* The moves of one joint, carried out on the board. Section 7 of SPEC.md. */
#ifndef MOVES_H
#define MOVES_H

#include <stdbool.h>
#include <stdint.h>

#include "config.h"

struct move {
	uint8_t kind;
	uint16_t segment;
	int32_t target;  /* mdeg */
	uint16_t per_ms; /* mdeg each ms */
	uint16_t thou;   /* and thousandths of a mdeg; both 0: at once */
	uint32_t dwell;  /* ms */
};

/* A rate in mdeg/s is taken apart when the move comes: a division costs as much as half a sample. */
void move_rate(struct move *m, uint32_t rate);

/* The way is walked in whole milliseconds from the moment the move began, so that a step is an addition and nothing
   adds up wrong however long it takes: mdeg at a mark in time, and what is left. */
struct player {
	int32_t command;   /* mdeg, what the pulse commands */
	uint16_t segment;  /* and for which move; 0: none */
	uint8_t kind;
	bool early;        /* the first move came after the moment last looked at */
	int32_t at;        /* mdeg at the mark */
	uint32_t mark;     /* us */
	uint32_t left;     /* mdeg from the mark to the target */
	uint32_t wait;     /* ms of dwell left */
	uint16_t per_ms;   /* of the move */
	uint16_t thou;
	uint16_t part;     /* thousandths of a mdeg gone beyond at */
	bool down, fresh;  /* fresh: no move yet since arming, the first is slow */
	uint8_t first, n;  /* of the queue; the first is under way */
	struct move queue[QUEUE];
};

/* Holds a command, with an empty queue. */
void player_hold(struct player *p, int32_t command);

/* Queues a move; the caller saw to it that there is room. */
void player_add(struct player *p, const struct move *m, uint32_t now);

/* Brings the command to where it belongs at a time. True: the first move ended, at p->mark; call player_next and then
   this again. */
bool player_run(struct player *p, uint32_t now);

/* Takes the first move out of the queue and begins the one behind it at p->mark. */
void player_next(struct player *p);

/* Takes it out and begins nothing. */
void player_drop(struct player *p);

static inline const struct move *player_move(const struct player *p) { return &p->queue[p->first]; }

#endif
