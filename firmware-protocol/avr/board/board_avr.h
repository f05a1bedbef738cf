/* Between the files of the board layer. ATmega328P at 16 MHz; every register here is of its data sheet. */
#ifndef BOARD_AVR_H
#define BOARD_AVR_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

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

void clock_begin(void);
uint32_t clock_in_isr(void);

void serial_begin(void);
/* The next byte of the host; false: there is none. */
bool serial_take(uint8_t *b);

void pulses_begin(void);
/* Ends pulses whose last one is over. Call it each turn of the loop. */
void pulses_poll(void);

/* One exchange on the two-wire bus: a byte written, or that and the two of bus_tail, or two bytes read into a slot. When
   it fails, skip more exchanges fail with it. */
#define WIRE_READ 1
struct exchange {
	uint8_t address; /* 7 bits and the direction */
	uint8_t b, slot;
	uint8_t n_skip; /* bytes written, and skip times 16 */
};
#define SLOTS 10
struct slot {
	uint16_t value;
	bool ok;
};
extern volatile struct slot slots[SLOTS];
extern volatile uint32_t slot_time[]; /* us, when the sensor was addressed; of the first JOINTS slots */
extern const uint8_t bus_tail[2];

void bus_begin(void);
void bus_start(const struct exchange *e, uint8_t n);
/* True when all is done or given up; a bus that does not move for half a ms is given up. */
bool bus_done(void);

void analogue_begin(void);
void analogue_start(void);
bool analogue_done(void);
uint16_t analogue_value(uint8_t pin);
uint32_t analogue_time(uint8_t joint);

void sensors_begin(void);
void sensors_start(void);
bool sensors_done(void);
struct reading;
void sensors_reading(uint8_t joint, struct reading *r);

#endif
