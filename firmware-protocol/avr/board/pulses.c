/* Servo pulses in half microseconds. The edges are made by the timers themselves, so no interrupt can move them: joints
   0 and 1 by timer 1 in fast PWM, joint 2 by the compare output of timer 2. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#define HALF_US 2000000UL /* in a second */
#define MARGIN 100        /* half us between looking at timer 1 and changing its end */

static uint16_t frame = (uint16_t)(HALF_US / SERVO_FRAME_HZ); /* half us */
static uint8_t ending; /* joints whose last pulse is to end as it should */
static bool anew; /* timer 1 still counts to another frame */

/* Joint 2. Timer 2 counts to OCR2A and begins anew. Up to an edge it does so several times: rounds of 256 counts but for
   the first one or two, which have at least 128 so that their interrupt sees to them in time. The last match makes
   the edge. What the interrupt needs is worked out beforehand, as it runs 7,800 times a second. */
struct way {
	uint8_t first, second; /* OCR2A of the first two rounds */
	uint8_t rounds;
};
static volatile struct way low, high;
volatile uint8_t third_togo, third_second; /* rounds, the one that runs included; OCR2A of the next, 0: as it is */
static volatile bool level, on, last;
#define THIRD_KEEP (1 << WGM21)
#define THIRD_FALLS (1 << WGM21 | 1 << COM2A1)
#define THIRD_RISES (1 << WGM21 | 1 << COM2A1 | 1 << COM2A0)

void pulses_begin(void) {
	DDRB |= 1 << PB1 | 1 << PB2 | 1 << PB3;
	ICR1 = (uint16_t)(frame - 1);
	TCCR1A = 1 << WGM11;
	TCCR1B = 1 << WGM13 | 1 << WGM12 | 1 << CS11; /* 16 MHz / 8 */
	TCCR2A = THIRD_KEEP;
	OCR2A = 255;
	TCCR2B = 1 << CS21;
}

/* The rest of the interrupt in third_pulse.S, which sees to rounds that change nothing. */
ISR(__vector_third) {
	uint8_t k = (uint8_t)(third_togo - 1);
	if (k == 0) {
		volatile struct way *w = &low;
		if (level) {
			level = false;
			if (last) {
				TCCR2A = THIRD_KEEP;
				TIMSK2 = 0;
				on = false;
				return;
			}
		} else {
			level = true;
			w = &high;
		}
		OCR2A = w->first;
		third_second = w->second;
		third_togo = w->rounds;
		return;
	}
	third_togo = k;
	if (third_second) {
		OCR2A = third_second;
		third_second = third_second == 255 ? 0 : 255; /* 0: no more to change */
	}
	if (k == 1)
		TCCR2A = level ? THIRD_FALLS : THIRD_RISES;
}

static void plan(volatile struct way *w, uint16_t half_us) {
	uint8_t r = (uint8_t)half_us;
	w->rounds = (uint8_t)((half_us >> 8) + 1);
	if (r < 128) {
		w->first = 127;
		w->second = (uint8_t)(r + 127);
	} else {
		w->first = (uint8_t)(r - 1);
		w->second = 255;
	}
}

static void third_pulse(uint16_t half_us) {
	uint8_t sreg = SREG;
	cli();
	plan(&high, half_us);
	plan(&low, (uint16_t)(frame - half_us));
	last = false;
	if (!on) {
		on = true;
		level = false;
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
	last = true;
	if (!level) {
		TCCR2A = THIRD_KEEP;
		TIMSK2 = 0;
		on = false;
	}
	SREG = sreg;
}

void board_frame(uint16_t hz) {
	frame = (uint16_t)(HALF_US / hz);
	anew = true;
	pulses_poll();
}

/* Timer 1 takes its end over at once, so that it must not have passed it. While the outputs are off it begins anew; where a
   last pulse is under way, it changes in the gap behind it. */
static void frame_set(uint16_t count) {
	if (!(TCCR1A & (1 << COM1A1 | 1 << COM1B1)))
		TCNT1 = 0;
	else if (count <= OCR1A || count <= OCR1B || count >= frame - MARGIN)
		return;
	ICR1 = (uint16_t)(frame - 1);
	anew = false;
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
	if (!ending && !anew)
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
	if (anew)
		frame_set(count);
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
