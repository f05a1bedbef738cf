/* Microseconds since power-up: timer 0 counts each 4 us and overflows each 1024. */
#include "board.h"
#include "board_avr.h"

volatile uint32_t clock_overflows;

void clock_begin(void) {
	TCCR0A = 0;
	TIMSK0 = 1 << TOIE0;
	TCCR0B = 1 << CS01 | 1 << CS00; /* 16 MHz / 64 */
}

ISR(TIMER0_OVF_vect) { clock_overflows++; }

/* An overflow whose interrupt waits is seen by its flag; a small count says that it was before the count was read. */
uint32_t board_now(void) {
	uint8_t sreg = SREG, count;
	uint32_t n;
	cli();
	n = clock_overflows;
	count = TCNT0;
	if ((TIFR0 & 1 << TOV0) && count < 128)
		n++;
	SREG = sreg;
	return (n << 8 | count) << 2;
}

uint32_t clock_at(uint16_t stamp) {
	uint32_t now = board_now() >> 2;
	return (now - (uint16_t)((uint16_t)now - stamp)) << 2;
}
