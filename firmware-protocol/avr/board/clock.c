/* Microseconds since power-up: timer 0 counts each 4 us and overflows each 1024. */
#include "board.h"
#include "board_avr.h"

static volatile uint32_t whole;

void clock_begin(void) {
	TCCR0A = 0;
	TIMSK0 = 1 << TOIE0;
	TCCR0B = 1 << CS01 | 1 << CS00; /* 16 MHz / 64 */
}

ISR(TIMER0_OVF_vect) { whole += 1024; }

/* An overflow whose interrupt waits is seen by its flag; a small count says that it was before the count was read. */
uint32_t clock_in_isr(void) {
	uint32_t us = whole;
	uint8_t count = TCNT0;
	if ((TIFR0 & 1 << TOV0) && count < 128)
		us += 1024;
	return us + (uint16_t)((uint16_t)count * 4);
}

uint32_t board_now(void) {
	uint8_t sreg = SREG;
	uint32_t us;
	cli();
	us = clock_in_isr();
	SREG = sreg;
	return us;
}
