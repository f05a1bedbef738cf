/* Between the files of the board layer. ATmega328P at 16 MHz; every register here is of its data sheet. */
#ifndef BOARD_AVR_H
#define BOARD_AVR_H

/* Setting of a shunt monitor: 16 V, 320 mV, 11 bits: both conversions together take 552 us, so that each sample at 1 kHz
   is fresh. */
#define BUS_TAIL_0 0x19
#define BUS_TAIL_1 0x17

#ifndef __ASSEMBLER__
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

extern volatile uint32_t clock_tick; /* us at the last tick, one each ms */
void clock_begin(void);

void serial_begin(void);
bool serial_waits(void);
/* The next byte of the host; false: there is none. */
bool serial_take(uint8_t *b);

void pulses_begin(void);
/* Ends pulses whose last one is over, and changes the frame where that waits. Call it each turn of the loop. */
void pulses_poll(void);

/* One exchange on the two-wire bus: a byte written, or that and BUS_TAIL, or two bytes read. */
struct exchange {
	uint8_t address; /* 7 bits and the direction */
	uint8_t n;       /* bytes to write; when reading, which stamp notes the moment, from 1 on, 0: none */
	uint8_t rest;    /* bytes to the exchange that is next when this one fails; 1 once it was read */
	uint8_t b[2];    /* high byte, low byte */
};
#define EXCHANGE_READ 1
extern volatile uint16_t bus_stamps[];

void bus_begin(void);
/* Begins a list, whose last has address 0, at the first tick of the clock at or after a time; at once when that has gone. */
void bus_start(struct exchange *list, uint32_t at);
/* True when all is done or given up; a bus that does not move for half a ms is given up. */
bool bus_done(void);

extern volatile bool bus_ready; /* a list waits for its tick */
extern volatile uint32_t bus_at; /* that tick; then when it was begun */
static inline void bus_go(uint32_t at) {
	bus_ready = false;
	bus_at = at;
	TWCR = 1 << TWINT | 1 << TWEN | 1 << TWIE | 1 << TWSTA;
}

void analogue_begin(void);
void analogue_start(void);
bool analogue_done(void);
uint16_t analogue_value(uint8_t pin);
uint16_t analogue_stamp(uint8_t joint);

void sensors_begin(void);
/* A turn that begins at a time, or as soon as it can. */
void sensors_start(uint32_t at);
/* True once a turn is over; then take what it gave, before the next begins, and work it out after that. */
bool sensors_done(void);
/* When it began, us. */
uint32_t sensors_take(void);
void sensors_reading(uint8_t joint, struct reading *r);

#endif
#endif
