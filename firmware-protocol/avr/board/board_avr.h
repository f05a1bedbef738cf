/* Between the files of the board layer. ATmega328P at 16 MHz; every register here is of its data sheet. */
#ifndef BOARD_AVR_H
#define BOARD_AVR_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "board.h"

/* What the loop is doing, for whoever watches the register: an emulator sums cycles between writes, a logic analyser
   needs a pin. One instruction each. */
enum mark {
	MARK_LOOP = 1, /* a turn of the loop begins */
	MARK_HOST,     /* bytes of the host */
	MARK_START,    /* the sensors' turn is begun */
	MARK_READING,  /* what they gave is worked on, one joint */
	MARK_TURN      /* what goes by time: heartbeat, status, samples that waited */
};
#define MARK(m) (GPIOR0 = (m))

extern volatile uint32_t clock_overflows; /* of timer 0, each 1024 us */
void clock_begin(void);
/* A moment of the last 0.2 s as an interrupt notes it, and the same in us since power-up. */
static inline uint16_t clock_stamp(void) {
	uint8_t n = *(volatile uint8_t *)&clock_overflows, count = TCNT0;
	if ((TIFR0 & 1 << TOV0) && count < 128)
		n++;
	return (uint16_t)((uint16_t)n << 8 | count);
}
uint32_t clock_at(uint16_t stamp);

void serial_begin(void);
/* The next byte of the host; false: there is none. */
bool serial_take(uint8_t *b);

void pulses_begin(void);
/* Ends pulses whose last one is over. Call it each turn of the loop. */
void pulses_poll(void);

/* One exchange on the two-wire bus: a byte written, or that and the two of bus_tail, or two bytes read. */
struct exchange {
	uint8_t address; /* 7 bits and the direction */
	uint8_t n;       /* bytes to write; when reading, which stamp notes the moment, from 1 on, 0: none */
	uint8_t rest;    /* writing: how many more exchanges fail with this one; reading: 1 when it was read */
	uint8_t b[2];    /* high byte, low byte */
};
#define EXCHANGE_READ 1
extern volatile uint16_t bus_stamps[];
extern const uint8_t bus_tail[2];

void bus_begin(void);
void bus_start(struct exchange *e, uint8_t n);
/* True when all is done or given up; a bus that does not move for half a ms is given up. */
bool bus_done(void);

void analogue_begin(void);
void analogue_start(void);
bool analogue_done(void);
uint16_t analogue_value(uint8_t pin);
uint16_t analogue_stamp(uint8_t joint);

void sensors_begin(void);
void sensors_start(void);
/* True once a turn is over; its readings are then there. */
bool sensors_done(struct reading readings[]);

#endif
