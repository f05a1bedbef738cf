/* Microseconds since power-up: timer 0 counts each 4 us and ticks each ms. */
#include "board.h"
#include "board_avr.h"

volatile uint32_t clock_tick; /* us at the last tick */

void clock_begin(void) {
	OCR0A = 249;
	TCCR0A = 1 << WGM01; /* counts to OCR0A */
	TIMSK0 = 1 << OCIE0A;
	TCCR0B = 1 << CS01 | 1 << CS00; /* 16 MHz / 64 */
}

ISR(TIMER0_COMPA_vect) {
	uint32_t t = clock_tick + 1000;
	clock_tick = t;
	turns_tick(t);
}

/* A tick whose interrupt waits is seen by its flag; a small count says that it was before the count was read. */
uint32_t board_now(void) {
	uint8_t sreg = SREG, count;
	uint32_t t;
	cli();
	t = clock_tick;
	count = TCNT0;
	if ((TIFR0 & 1 << OCF0A) && count < 125)
		t += 1000;
	SREG = sreg;
	return t + (uint16_t)((uint16_t)count * 4);
}
