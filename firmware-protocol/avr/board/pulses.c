/* Servo pulses in half microseconds. The edges are made by the timers themselves, so no interrupt can move them: joints
   0 and 1 by timer 1 in fast PWM, joint 2 by the compare output of timer 2. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#define FRAME (2000000UL / SERVO_FRAME_HZ) /* half us */

static uint8_t ending; /* joints whose last pulse is to end as it should */

/* Joint 2. Timer 2 counts to OCR2A and begins anew; up to an edge it does so several times, and the last match makes
   the edge. */
static volatile uint16_t third_high; /* half us, 0: stop after this pulse */
static uint8_t third_togo, third_second;
static bool third_level;
static volatile bool third_on;
#define THIRD_KEEP (1 << WGM21)
#define THIRD_FALLS (1 << WGM21 | 1 << COM2A1)
#define THIRD_RISES (1 << WGM21 | 1 << COM2A1 | 1 << COM2A0)

void pulses_begin(void) {
	DDRB |= 1 << PB1 | 1 << PB2 | 1 << PB3;
	ICR1 = (uint16_t)(FRAME - 1);
	TCCR1A = 1 << WGM11;
	TCCR1B = 1 << WGM13 | 1 << WGM12 | 1 << CS11; /* 16 MHz / 8 */
	TCCR2A = THIRD_KEEP;
	OCR2A = 255;
	TCCR2B = 1 << CS21;
}

/* Plans the way from the edge that just happened to the next: rounds of 256 counts but for the first one or two, which
   have at least 128, so that their interrupt sees to them in time. */
static void third_plan(uint16_t half_us) {
	uint8_t r = (uint8_t)half_us;
	third_togo = (uint8_t)((half_us >> 8) + 1);
	if (r < 128) {
		OCR2A = 127;
		third_second = (uint8_t)(r + 127);
	} else {
		OCR2A = (uint8_t)(r - 1);
		third_second = 255;
	}
}

ISR(TIMER2_COMPA_vect) {
	uint8_t togo = --third_togo;
	if (togo == 0) {
		uint16_t high = third_high;
		third_level = !third_level;
		if (!third_level && high == 0) {
			TCCR2A = THIRD_KEEP;
			TIMSK2 = 0;
			third_on = false;
			return;
		}
		third_plan(third_level ? high : (uint16_t)(FRAME - high));
		return;
	}
	if (OCR2A != third_second)
		OCR2A = third_second;
	third_second = 255;
	if (togo == 1)
		TCCR2A = third_level ? THIRD_FALLS : THIRD_RISES;
}

static void third_pulse(uint16_t half_us) {
	uint8_t sreg = SREG;
	cli();
	third_high = half_us;
	if (!third_on) {
		third_on = true;
		third_level = false;
		third_togo = 2;
		third_second = 255;
		TIFR2 = 1 << OCF2A;
		TIMSK2 = 1 << OCIE2A;
	}
	SREG = sreg;
}

static void third_off(void) {
	uint8_t sreg = SREG;
	cli();
	third_high = 0;
	if (!third_level) {
		TCCR2A = THIRD_KEEP;
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
