/* The two-wire bus at 400 kHz, a list of exchanges worked off by interrupt (bus_act.S) while the loop does other things. */
#include "board_avr.h"

#include <util/delay_basic.h>

#include "board.h"

#define SILENT_US 500 /* one exchange needs 125 */

#define GO (1 << TWINT | 1 << TWEN | 1 << TWIE)

/* The exchange under way; the list ends with address 0. These belong to the interrupt, bus_act.S, while it is busy. */
struct exchange *volatile bus_now;
volatile uint8_t bus_written;
volatile bool bus_busy;
static const struct exchange *seen;
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

volatile bool bus_ready;
volatile uint32_t bus_at;

void bus_start(struct exchange *list, uint32_t at) {
	uint32_t t;
	bus_now = list;
	bus_written = 0;
	seen = 0;
	bus_busy = true;
	cli();
	t = board_now();
	bus_at = at;
	if ((int32_t)(t - at) < 0)
		bus_ready = true;
	else
		bus_go(t);
	sei();
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

/* The time of an exchange counts from when it is first seen under way. */
bool bus_done(void) {
	const struct exchange *e;
	uint32_t t;
	if (!bus_busy)
		return true;
	if (bus_ready)
		return false;
	cli();
	e = bus_now;
	sei();
	t = board_now();
	if (e != seen) {
		seen = e;
		moved_at = t;
	} else if (t - moved_at > SILENT_US) {
		bus_busy = false;
		unwedge();
		return true;
	}
	return false;
}
