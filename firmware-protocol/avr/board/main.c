/* The loop. Nothing in it waits: sensors and serial port work by interrupt, and each turn does a bounded piece. */
#include <avr/wdt.h>

#include "board.h"
#include "board_avr.h"
#include "stand.h"

#define BYTES_PER_TURN 16

extern uint8_t reset_flags; /* of start.S */

/* Some boot loaders clear the register that knows; then the reason is not known. */
static uint8_t reset_reason(void) {
	if (reset_flags & 1 << WDRF)
		return REASON_WATCHDOG;
	if (reset_flags & 1 << PORF) /* it brings a brown-out along as the supply rises */
		return REASON_POWER_UP;
	if (reset_flags & 1 << BORF)
		return REASON_SUPPLY;
	if (reset_flags & 1 << EXTRF)
		return REASON_RESET;
	return REASON_NONE;
}

static void host(void) {
	const uint8_t *p;
	uint8_t n = serial_run(&p);
	if (n || stand.held)
		serial_taken(stand_bytes(p, n < BYTES_PER_TURN ? n : BYTES_PER_TURN, serial_crowded()));
}

/* A step of the sensors' work: one joint at most. True: that turn has more. */
static bool sense(void) {
	static struct turn *over; /* what is worked on */
	static uint8_t joint;     /* the next */
	static bool sample;
	struct reading r;
	turns_plan();
	if (!over) {
		over = turns_over();
		if (!over)
			return false;
		MARK(MARK_START);
		sensors_take(over);
		sample = stand_gathered(&over->due);
		joint = 0;
	}
	MARK(MARK_READING);
	readings_take(over, joint, &r);
	stand_reading(joint, &r, sample);
	if (++joint != JOINTS)
		return true;
	over = 0;
	turns_worked();
	return false;
}

int main(void) {
	uint8_t tick, seen = 0;
#if BUTTON_PIN != NONE
	PORTD |= 1 << BUTTON_PIN;
#endif
	pulses_begin();
	clock_begin();
	sensors_begin();
	serial_begin();
	sei();
	stand_begin(reset_reason());
	wdt_enable(WDTO_60MS);
	for (;;) {
		MARK(MARK_LOOP);
		wdt_reset();
		pulses_poll();
		if (sense())
			continue; /* the host's bytes can wait, readings can not */
		MARK(MARK_HOST);
		host();
		tick = *(const volatile uint8_t *)&clock_tick; /* another one each ms; one byte is read at once */
		if (tick != seen) {
			MARK(MARK_TURN);
			seen = tick;
			stand_turn();
		}
#if BUTTON_PIN != NONE
		if (!(PIND & 1 << BUTTON_PIN))
			stand_button();
#endif
	}
}
