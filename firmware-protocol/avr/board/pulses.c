/* Servo pulses in half microseconds. The edges are made by the timers themselves, so no interrupt can move them: joints
   0 and 1 by timer 1 in fast PWM, joint 2 by the output compare of timer 2. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#define FRAME (2000000UL / SERVO_FRAME_HZ) /* half us */

static uint8_t ending; /* joints whose last pulse is to end as it should */

/* Joint 2. Timer 2 has 8 bits, an interval up to 16: on its way to an edge the compare matches once per 256 counts, and
   the last match makes the edge. */
static volatile uint16_t third_high; /* half us, 0: stop after this pulse */
static uint8_t third_togo, third_hop;
static bool third_level;
static volatile bool third_on;

void pulses_begin(void) {
	DDRB |= 1 << PB1 | 1 << PB2;
	DDRD |= 1 << PD3;
	ICR1 = (uint16_t)(FRAME - 1);
	TCCR1A = 1 << WGM11;
	TCCR1B = 1 << WGM13 | 1 << WGM12 | 1 << CS11; /* 16 MHz / 8 */
	TCCR2A = 0;
	TCCR2B = 1 << CS21;
}

/* Plans the way from the edge that just happened to the next. Hops of less than 128 counts would come before their
   interrupt could see to them. */
static void third_plan(uint16_t n) {
	uint8_t r = (uint8_t)n;
	third_togo = (uint8_t)((n >> 8) + 1);
	if (r < 128) {
		OCR2B = (uint8_t)(OCR2B + 128);
		third_hop = (uint8_t)(r + 128);
	} else {
		OCR2B = (uint8_t)(OCR2B + r);
		third_hop = 0;
	}
}

ISR(TIMER2_COMPB_vect) {
	uint16_t n;
	uint8_t togo = (uint8_t)(third_togo - 1);
	third_togo = togo;
	if (togo == 0) {
		third_level = !third_level;
		n = third_high;
		if (!third_level && n == 0) {
			TCCR2A = 0;
			TIMSK2 = 0;
			third_on = false;
			return;
		}
		third_plan(third_level ? n : (uint16_t)(FRAME - n));
		return;
	}
	if (third_hop) {
		OCR2B = (uint8_t)(OCR2B + third_hop);
		third_hop = 0;
	}
	if (togo == 1) {
		if (third_level)
			TCCR2A = 1 << COM2B1; /* cleared on match */
		else
			TCCR2A = 1 << COM2B1 | 1 << COM2B0; /* set on match */
	}
}

static void third_pulse(uint16_t half_us) {
	uint8_t sreg = SREG;
	cli();
	third_high = half_us;
	if (!third_on) {
		third_on = true;
		third_level = false;
		third_hop = 0;
		third_togo = 2;
		OCR2B = (uint8_t)(TCNT2 + 128);
		TIFR2 = 1 << OCF2B;
		TIMSK2 = 1 << OCIE2B;
	}
	SREG = sreg;
}

static void third_off(void) {
	uint8_t sreg = SREG;
	cli();
	third_high = 0;
	if (!third_level) {
		TCCR2A = 0;
		TIMSK2 = 0;
		third_on = false;
	}
	SREG = sreg;
}

void board_pulse(uint8_t joint, uint16_t half_us) {
	uint8_t sreg = SREG;
	if (joint == 2) {
		third_pulse(half_us);
		return;
	}
	/* Compare registers are taken over at the start of a pulse, so none is cut. Two bytes go through one register that
	   timer interrupts could use as well. */
	cli();
	if (joint == 0) {
		OCR1A = (uint16_t)(half_us - 1);
		TCCR1A |= 1 << COM1A1;
	} else {
		OCR1B = (uint16_t)(half_us - 1);
		TCCR1A |= 1 << COM1B1;
	}
	ending = (uint8_t)(ending & ~(1 << joint));
	SREG = sreg;
}

void board_pulse_off(uint8_t joint) {
	if (joint == 2)
		third_off();
	else
		ending = (uint8_t)(ending | 1 << joint);
	pulses_poll();
}

void pulses_poll(void) {
	uint8_t sreg = SREG;
	uint16_t count;
	if (!ending)
		return;
	cli();
	count = TCNT1;
	if ((ending & 1) && count > OCR1A) {
		TCCR1A &= (uint8_t)~(1 << COM1A1);
		ending &= (uint8_t)~1;
	}
	if ((ending & 2) && count > OCR1B) {
		TCCR1A &= (uint8_t)~(1 << COM1B1);
		ending &= (uint8_t)~2;
	}
	SREG = sreg;
}

uint16_t board_chance(void) {
	static uint16_t mixed = 1;
	uint16_t t;
	uint8_t sreg = SREG;
	cli();
	t = TCNT1;
	SREG = sreg;
	mixed = (uint16_t)(mixed * 25173U + 13849U + t + (uint16_t)board_now());
	return mixed;
}
