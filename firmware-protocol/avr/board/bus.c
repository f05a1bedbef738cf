/* The two-wire bus at 400 kHz: a list of exchanges is worked off by interrupt (bus_act.S) while the loop does other things. */
#include "board_avr.h"

#include <util/delay_basic.h>

#define HANGS 125 /* counts of timer 0, 500 us; one exchange needs 125 us */
#define ROUND 250  /* counts per tick */

/* The exchange under way, and where what is read goes. These belong to the interrupt while a turn is on the bus. */
const struct exchange *volatile bus_now;
uint16_t *volatile bus_words;

void bus_begin(void) {
	/* Weak pull-ups: they are no substitute for the resistors, but leave a bus without any readable. */
	PORTC |= 1 << PC4 | 1 << PC5;
	TWSR = 0;
	TWBR = 12; /* 16 MHz / (16 + 2 * 12) */
	TWCR = 1 << TWEN;
}

void bus_free(void) {
	PORTC &= (uint8_t)~(1 << PC5 | 1 << PC4);
	for (uint8_t i = 0; i < 9 && !(PINC & 1 << PC4); i++) {
		DDRC |= 1 << PC5; /* low */
		_delay_loop_1(26); /* 5 us */
		DDRC &= (uint8_t)~(1 << PC5);
		_delay_loop_1(26);
	}
	bus_begin();
}

/* One byte of each pointer tells two exchanges, and two turns, apart. */
bool bus_hangs(void) {
	static uint8_t seen, turn, since;
	uint8_t now = *(const volatile uint8_t *)&bus_now, words = *(const volatile uint8_t *)&bus_words, count = TCNT0;
	if (now != seen || words != turn) {
		seen = now;
		turn = words;
		since = count;
		return false;
	}
	if (count < since)
		count = (uint8_t)(count + ROUND);
	return (uint8_t)(count - since) > HANGS;
}
