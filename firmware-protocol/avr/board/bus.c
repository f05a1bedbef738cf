/* The two-wire bus at 400 kHz, a list of exchanges worked off by interrupt while the loop does other things. */
#include "board_avr.h"

#include <util/delay_basic.h>

#include "board.h"
#include "config.h"

#define SILENT_US 500 /* one exchange needs 125 */

#define GO (1 << TWINT | 1 << TWEN | 1 << TWIE)
#define STOP_START (GO | 1 << TWSTO | 1 << TWSTA)

volatile struct slot slots[SLOTS];
volatile uint32_t slot_time[JOINTS];

static const struct exchange *volatile now, *volatile end;
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

static inline void next(bool ok) {
	const struct exchange *e = now;
	e += ok ? 1 : 1 + (e->n_skip >> 4);
	now = e;
	written = 0;
	if (e < end) {
		TWCR = STOP_START; /* a multiplexer switches at the stop */
	} else {
		TWCR = 1 << TWINT | 1 << TWEN | 1 << TWSTO;
		busy = false;
	}
}

ISR(TWI_vect) {
	const struct exchange *e = now;
	volatile struct slot *s;
	uint8_t k;
	events++;
	switch (TWSR & 0xF8) {
	case 0x08: /* start sent */
	case 0x10:
		TWDR = e->address;
		TWCR = GO;
		return;
	case 0x18: /* address for writing taken */
	case 0x28: /* byte taken */
		k = written;
		if (k < (e->n_skip & 15)) {
			TWDR = k ? bus_tail[k - 1] : e->b;
			written = (uint8_t)(k + 1);
			TWCR = GO;
			return;
		}
		next(true);
		return;
	case 0x40: /* address for reading taken */
		if (e->slot < JOINTS)
			slot_time[e->slot] = clock_in_isr();
		TWCR = GO | 1 << TWEA;
		return;
	case 0x50: /* first byte, the second is the last */
		slots[e->slot].value = (uint16_t)((uint16_t)TWDR << 8);
		TWCR = GO;
		return;
	case 0x58:
		s = &slots[e->slot];
		s->value |= TWDR;
		s->ok = true;
		next(true);
		return;
	default: /* nobody there, or the bus lost */
		next(false);
	}
}

void bus_start(const struct exchange *e, uint8_t n) {
	for (uint8_t i = 0; i < SLOTS; i++)
		slots[i].ok = false;
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
