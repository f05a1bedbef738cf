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
	uint8_t b;
	for (uint8_t k = 0; k < BYTES_PER_TURN && serial_waits() && line_room() >= ANSWER_ROOM && serial_take(&b); k++)
		if (stand_byte(b))
			return;
}

/* A step of the sensors' work: one joint at most. While one turn's readings are worked on, the next turn waits for its
   time or is under way on the bus. */
static void sense(void) {
	static uint8_t joint = JOINTS; /* the next to work on */
	static bool under_way;
	static enum due due;
	struct reading r;
	if (under_way && joint == JOINTS && sensors_done()) {
		MARK(MARK_START);
		due = stand_due(sensors_take());
		under_way = false;
		joint = 0;
	}
	if (!under_way) {
		MARK(MARK_START);
		sensors_start(stand.next);
		under_way = true;
	}
	if (joint < JOINTS) {
		MARK(MARK_READING);
		sensors_reading(joint, &r);
		stand_reading(joint, &r, due == DUE_SAMPLE);
		joint++;
	}
}

int main(void) {
	uint8_t tick, seen = 0;
#if BUTTON_PIN != NONE
	PORTD |= 1 << BUTTON_PIN;
#endif
	pulses_begin();
	clock_begin();
	serial_begin();
	sensors_begin();
	sei();
	stand_begin(reset_reason());
	wdt_enable(WDTO_60MS);
	for (;;) {
		MARK(MARK_LOOP);
		wdt_reset();
		pulses_poll();
		sense();
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
