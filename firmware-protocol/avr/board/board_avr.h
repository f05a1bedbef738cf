/* Between the files of the board layer. ATmega328P at 16 MHz; every register here is of its data sheet. */
#ifndef BOARD_AVR_H
#define BOARD_AVR_H

/* Setting of a shunt monitor: 16 V, 320 mV, 11 bits: both conversions together take 552 us, so that each sample at 1 kHz
   is fresh. */
#define BUS_TAIL_0 0x19
#define BUS_TAIL_1 0x17

#define MULTIPLEXER 0x70 /* address; behind it alone an exchange ends with a stop */

#ifndef __ASSEMBLER__
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "config.h"
#include "stand.h"

/* What the loop is doing, for whoever watches the register: an emulator sums cycles between writes, a logic analyser
   needs a pin. One instruction each. */
enum mark {
	MARK_LOOP = 1, /* a turn of the loop begins */
	MARK_HOST,     /* bytes of the host */
	MARK_START,    /* a turn of the sensors is planned, or what it gave is looked at */
	MARK_READING,  /* what they gave is worked on, one joint */
	MARK_TURN      /* what goes by time: heartbeat, status, samples that waited */
};
#define MARK(m) (GPIOR0 = (m))

extern volatile uint32_t clock_tick; /* us at the last tick, one each ms */
void clock_begin(void);

void serial_begin(void);
/* Bytes of the host that lie in a row, none when there are none; then how many of them were taken. */
uint8_t serial_run(const uint8_t **p);
bool serial_crowded(void);
void serial_taken(uint8_t n);

void pulses_begin(void);
/* Ends pulses whose last one is over, and changes the frame where that waits. Call it each turn of the loop. */
void pulses_poll(void);

/* One exchange on the two-wire bus: bytes written, or two bytes read. */
struct exchange {
	uint8_t address; /* 7 bits and the direction; 0: the end of the list */
	uint8_t n;       /* bytes to write, 1 or 3, which are b and BUS_TAIL; when reading, 1: the moment is noted, behind the word */
	uint8_t b;       /* when reading, where among the turn's words, in bytes, the word belongs */
	uint8_t rest;    /* when it fails: bytes to the exchange that reads the same device */
	uint8_t next;    /* bytes to the exchange behind */
};
#define EXCHANGE_READ 1
#define BUS_GO (1 << TWINT | 1 << TWEN | 1 << TWIE)
extern const struct exchange *volatile bus_now;
extern uint16_t *volatile bus_words;

void bus_begin(void);
/* Frees a sensor that holds the data line down in the middle of a byte: up to nine clocks, then a stop. 90 us at most. The bus's
   own hardware is off. */
void bus_free(void);
/* Whether the exchange under way has been so for half a ms. Ask each turn of the loop. */
bool bus_hangs(void);

/* One turn of the sensors: what is to be done, and what was read. */
enum turn_state { TURN_FREE, TURN_PLANNED, TURN_BEGUN, TURN_OVER };
/* Devices: joint angles, motor angles, monitors. The words stand in this order, behind each joint angle its moment, and last the second
   word of the supply's monitor. */
#define MOTOR JOINTS
#define CURRENT (JOINTS + MOTOR_SENSORS)
#define DEVICES (2 * JOINTS + MOTOR_SENSORS)
#define WORD_OF(device) ((device) < JOINTS ? 2 * (device) : (device) + JOINTS)
#define WORDS (3 * JOINTS + MOTOR_SENSORS + 1)
#define SECOND (WORDS - 1)
#define SILENT 0x8000 /* no reading: angles have 12 bits, currents up to 32000, the supply's lowest bits are a status */
#define PINS (2 * JOINTS + 1)
struct turn {
	volatile uint8_t state;
	uint16_t touched;    /* devices whose pointer is set anew */
	uint16_t set_up;     /* and those of them whose setting is, too */
	bool bus_first;      /* the supply is read before that joint's current */
	uint8_t magnet;      /* the sensor that tells of its magnet in place of its angle; NONE */
	struct due due;
	uint32_t at;         /* us, when it is to begin; then when it was begun */
	uint16_t word[WORDS];
#if ANALOGUE
	uint16_t pin[PINS], stamp[JOINTS];
#endif
};

/* turns.c: one after the other */
void turns_plan(void); /* call it each turn of the loop, and once before the first */
/* The oldest turn that is over; null: none. Call turns_worked when its readings are worked on. */
struct turn *turns_over(void);
void turns_worked(void);
void turns_tick(uint32_t tick); /* by the clock's interrupt */

/* analogue.c: a turn's share of the analogue pins */
void analogue_begin(void);
void analogue_go(struct turn *t);
bool analogue_done(const struct turn *t);
uint16_t analogue_value(const struct turn *t, uint8_t pin);
uint16_t analogue_stamp(const struct turn *t, uint8_t joint);

/* sensors.c: a turn's share of the bus */
void sensors_begin(void);
void sensors_plan(struct turn *t);
const struct exchange *sensors_go(struct turn *t); /* what it begins with; interrupts are off */
/* Looks which devices answered. Once per turn, in order, before its readings. */
void sensors_take(struct turn *t);

static inline bool on_pin(uint8_t where) { return ANALOGUE && (where & 0xF0) == PIN(0); }

/* readings.c */
void readings_begin(void);
void readings_take(const struct turn *t, uint8_t joint, struct reading *r);

#endif
#endif
