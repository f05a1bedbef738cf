/* The two-wire bus at 400 kHz, a list of exchanges worked off by interrupt while the loop does other things. */
#include "board_avr.h"

#include <util/delay_basic.h>

#include "board.h"

#define SILENT_US 500 /* one exchange needs 125 */

#define GO (1 << TWINT | 1 << TWEN | 1 << TWIE)
#define STOP_START (GO | 1 << TWSTO | 1 << TWSTA)

/* The exchange under way and the one behind the last. The interrupt alone changes the first. */
static struct exchange *volatile now, *volatile end;
static volatile uint8_t written, events;
static volatile bool busy;
static uint8_t events_seen;
static uint32_t moved_at;

static void wire_begin(void) {
	TWSR = 0;
	TWBR = 12; /* 16 MHz / (16 + 2 * 12) */
	TWCR = 1 << TWEN;
}

void bus_begin(void) {
	/* Weak pull-ups: they are no substitute for the resistors, but leave a bus without any readable. */
	PORTC |= 1 << PC4 | 1 << PC5;
	wire_begin();
}

/* To the next exchange. A stop between the two: a multiplexer switches at the stop. */
static inline __attribute__((always_inline)) void next(struct exchange *e) {
	now = e;
	written = 0;
	if (e < end) {
		TWCR = STOP_START;
	} else {
		TWCR = 1 << TWINT | 1 << TWEN | 1 << TWSTO;
		busy = false;
	}
}

/* Short, as it runs some fifty times per turn of the sensors: hence one pointer and no call. */
ISR(TWI_vect) {
	struct exchange *e = now;
	uint8_t k, status = TWSR;
	events++;
	if (status == 0x08 || status == 0x10) { /* start sent */
		TWDR = e->address;
		TWCR = GO;
	} else if (status == 0x50) { /* first byte, the second is the last */
		e->b[0] = TWDR;
		TWCR = GO;
	} else if (status == 0x58) { /* second byte */
		e->b[1] = TWDR;
		e->rest = 1;
		next(e + 1);
	} else if (status == 0x40) { /* address for reading taken */
		k = e->n;
		if (k)
			bus_stamps[k - 1] = clock_stamp();
		TWCR = GO | 1 << TWEA;
	} else if (status == 0x18 || status == 0x28) { /* address or byte to write taken */
		k = written;
		if (k == e->n) {
			next(e + 1);
		} else {
			TWDR = k ? bus_tail[k - 1] : e->b[0];
			written = (uint8_t)(k + 1);
			TWCR = GO;
		}
	} else { /* nobody there, or the bus lost */
		k = e->rest;
		do
			e++;
		while (k--);
		next(e);
	}
}

void bus_start(struct exchange *e, uint8_t n) {
	for (uint8_t i = 0; i < n; i++)
		if (e[i].address & EXCHANGE_READ)
			e[i].rest = 0;
	now = e;
	end = e + n;
	written = 0;
	events_seen = events;
	moved_at = board_now();
	busy = true;
	TWCR = GO | 1 << TWSTA;
}

/* Frees a sensor that holds the data line down in the middle of a byte: up to nine clocks, then a stop. 90 us at most. */
static void unwedge(void) {
	TWCR = 0;
	PORTC &= (uint8_t)~(1 << PC5 | 1 << PC4);
	for (uint8_t i = 0; i < 9 && !(PINC & 1 << PC4); i++) {
		DDRC |= 1 << PC5; /* low */
		_delay_loop_1(26); /* 5 us */
		DDRC &= (uint8_t)~(1 << PC5);
		_delay_loop_1(26);
	}
	bus_begin();
}

bool bus_done(void) {
	uint32_t t;
	if (!busy)
		return true;
	t = board_now();
	if (events != events_seen) {
		events_seen = events;
		moved_at = t;
	} else if (t - moved_at > SILENT_US) {
		TWCR = 0;
		busy = false;
		unwedge();
		return true;
	}
	return false;
}
