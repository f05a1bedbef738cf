/* Turns of the sensors. Each begins by interrupt, at a tick of the clock, so no work of the loop moves it: the loop
   plans one turn ahead, and may be a whole turn behind with the readings, before one begins late. */
#include "board_avr.h"

#define TURNS 3 /* one planned, one on the bus, one worked on */

static struct turn turns[TURNS];
static uint8_t planned, worked; /* the newest and the oldest in use */
static struct turn *volatile waits, *volatile on_bus;

static uint8_t after(uint8_t k) { return (uint8_t)(k + 1 == TURNS ? 0 : k + 1); }

/* Begins the turn that waits. Interrupts are off. */
static void begin(uint32_t at, uint8_t how) {
	struct turn *t = waits;
	waits = 0;
	on_bus = t;
	t->at = at;
	t->state = TURN_BEGUN;
	bus_now = sensors_go(t);
	bus_words = t->word;
	analogue_go(t);
	TWCR = how;
}

void turns_tick(uint32_t tick) {
	if (waits && !on_bus && (int32_t)(tick - waits->at) >= 0)
		begin(tick, BUS_GO | 1 << TWSTA);
}

/* By the bus's interrupt: the list is done. A turn whose tick has passed begins at once. */
void turns_ended(void) {
	on_bus->state = TURN_OVER;
	on_bus = 0;
	if (waits && (int32_t)(clock_tick - waits->at) >= 0)
		begin(board_now(), BUS_GO | 1 << TWSTO | 1 << TWSTA);
	else
		TWCR = 1 << TWINT | 1 << TWEN | 1 << TWSTO;
}

/* Gives a turn up whose bus hangs. What it has read counts. */
static void watch(void) {
	uint8_t sreg = SREG;
	cli();
	if (!on_bus || !bus_hangs()) {
		SREG = sreg;
		return;
	}
	TWCR = 0; /* no interrupt of the bus from here on */
	SREG = sreg;
	bus_free();
	cli();
	on_bus->state = TURN_OVER;
	on_bus = 0;
	if (waits && (int32_t)(clock_tick - waits->at) >= 0)
		begin(board_now(), BUS_GO | 1 << TWSTA);
	SREG = sreg;
}

/* The first turn of all has no one before it. */
void turns_plan(void) {
	static bool any;
	struct turn *t = &turns[planned];
	uint8_t sreg;
	watch();
	if (any) {
		uint8_t next = after(planned);
		if (t->state == TURN_PLANNED || turns[next].state != TURN_FREE)
			return;
		MARK(MARK_START);
		t->due = stand_due(t->at);
		planned = next;
		t = &turns[next];
	}
	any = true;
	sensors_plan(t);
	t->at = stand.next;
	t->state = TURN_PLANNED;
	sreg = SREG;
	cli();
	waits = t;
	if (!on_bus && (int32_t)(clock_tick - t->at) >= 0)
		begin(board_now(), BUS_GO | 1 << TWSTA);
	SREG = sreg;
}

struct turn *turns_over(void) {
	struct turn *t = &turns[worked];
	return worked != planned && t->state == TURN_OVER && analogue_done(t) ? t : 0;
}

void turns_worked(void) {
	turns[worked].state = TURN_FREE;
	worked = after(worked);
}
