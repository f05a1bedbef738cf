/* The stand's side of SPEC.md: a state machine that gets bytes, readings and times, and makes frames and pulses. */
#ifndef STAND_H
#define STAND_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "config.h"
#include "limits.h"
#include "line.h"
#include "moves.h"
#include "rules.h"
#include "samples.h"
#include "wire.h"

#define PROTOCOL_MAJOR 1
#define PROTOCOL_MINOR 1

enum {
	TYPE_HELLO_ASK = 0x01,
	TYPE_SETUP,
	TYPE_SETUP_JOINT,
	TYPE_CLOCK_ASK,
	TYPE_HEARTBEAT,
	TYPE_ARM_ASK,
	TYPE_ARM,
	TYPE_DISARM,
	TYPE_MOVE,
	TYPE_STOP,
	TYPE_STATUS_ASK,
	TYPE_BYE,
	TYPE_HELLO = 0x41,
	TYPE_ACK,
	TYPE_REFUSAL,
	TYPE_CLOCK,
	TYPE_ARM_TOKEN,
	TYPE_STATUS,
	TYPE_TRIP,
	TYPE_MOVE_GONE,
	TYPE_LOG,
	TYPE_SAMPLES = 0x50
};

enum { HAS_ANGLE = 1, HAS_MOTOR = 2, HAS_CURRENT = 4, HAS_SUPPLY = 8, HAS_SERVO = 0x40 };

enum { DISARMED, ARMED, TRIPPED };

enum reason {
	REASON_NONE,
	REASON_HEARTBEAT,
	REASON_CURRENT,
	REASON_RANGE,
	REASON_BUS,
	REASON_SUPPLY,
	REASON_RESET,
	REASON_WATCHDOG,
	REASON_COMMAND,
	REASON_BUTTON,
	REASON_POWER_UP
};

enum code {
	TAKEN,
	CODE_UNKNOWN,
	CODE_MALFORMED,
	CODE_NO_HELLO,
	CODE_NOT_ARMED,
	CODE_ARMED,
	CODE_TRIPPED,
	CODE_NOT_SET_UP,
	CODE_NO_JOINT,
	CODE_RANGE,
	CODE_QUEUE_FULL,
	CODE_VALUE,
	CODE_TOKEN,
	CODE_RATE,
	CODE_NO_HEARTBEAT,
	CODE_FRAME
};

#define NO_JOINT 0xFF

/* What setup_joint said, worked out. Angles in mdeg. Before it is known all is 0. */
struct setup {
	bool known, joint_back, motor_back, falling;
	int32_t lowest, highest;   /* the range and 3 deg */
	uint16_t current_max, over;
	int32_t zero, motor_zero;
	int32_t min, max;
	int32_t pulse_at;          /* command of the shortest pulse */
	uint16_t shortest;         /* half us */
	uint16_t longest;
	uint16_t slope;            /* half us per mdeg, times 2^shift */
	uint8_t shift;
};

/* An angle sensor: its way over all turns, in 256ths of a mdeg, and the angle in the joint's own sense. */
struct angle {
	bool seen;
	uint16_t raw;
	int32_t way, mdeg;
};

/* What is used most comes first: the processor reaches 63 bytes from a pointer at no cost. */
struct joint {
	bool armed, sampled, commanded; /* commanded: it was armed since power-up, so that it has a last command */
	uint16_t last; /* segment taken last since arming */
	uint16_t gone, seq, dropped, late;
	uint16_t pulse_at; /* us, when the width was last worked out */
	struct watch watch;
	struct angle angle, motor;
	struct setup set;
	struct player player;
	struct pack pack;
};

struct stand {
	bool met; /* a host of our major said hello */
	uint8_t state, trip, trip_joint, reset;
	uint8_t owed; /* messages for which there was no room */
	uint16_t token, last_token;
	uint32_t token_at, beat_at, status_at, low_at;
	bool low;
	int32_t trip_value, trip_limit;
	uint32_t trip_at;
	uint16_t bad;
	uint16_t hz;
	uint16_t frame_hz; /* servo pulses per second of the joints that are set up */
	/* The turn clock: the sensors are read hz times a second, or some whole multiple of it that lies above 250. */
	uint32_t next;
	uint16_t period, rest, gathered, turn_hz; /* us, 1/turn_hz us, the same, Hz */
	uint16_t on_time; /* us after which a closer look is needed */
	uint32_t late_after, lost_after; /* us */
	bool anew; /* the rate was changed: the next turn begins the count */
	uint8_t rates; /* how often it was */
	uint8_t looked; /* at this joint's waiting samples */
	uint8_t silent_limit;
	uint8_t every, turn; /* each every-th turn is a sample */
	bool held; /* the message in rx_buf waits */
	struct rx rx;
	uint8_t rx_buf[STUFFED(MAX_HOST_BODY)];
	struct joint joint[JOINTS];
};

extern struct stand stand;

/* Once after power-up or reset; says hello with nonce 0. */
void stand_begin(uint8_t reason);

/* Takes bytes from the host, up to the end of a frame or all, and returns how many: none while a message waits for room for its
   answer, so that a flood of commands costs no sample. crowded: soon there is no place for more bytes. */
uint8_t stand_bytes(const uint8_t *p, uint8_t n, bool crowded);

/* What the sample clock says of a turn of the sensors when it begins. It is kept with the turn until its readings are
   worked on, which may be after the next one began. */
struct due {
	bool sample;
	uint8_t rates; /* the setting of the rate it belongs to */
	uint16_t lost; /* samples, between the turn before and this one */
};

/* A turn of the sensors is due at stand.next. Called with the time at which it was begun, before the next one begins. */
struct due stand_due(uint32_t begun);

/* Its readings come next, joint by joint: whether samples are to be made of them. */
bool stand_gathered(const struct due *due);

/* What the sensors of a joint gave, each joint once per turn. */
void stand_reading(uint8_t joint, const struct reading *r, bool sample);

/* A joint was set up: works its angle and command out anew from the last reading. Arming may come before the next one, and an angle
   in the sense of an old zero is a jump. */
void stand_anew(uint8_t joint);

/* What goes by time alone: heartbeat, status, samples that waited long enough. Call it each ms. */
void stand_turn(void);

/* The stop switch is pressed. */
void stand_button(void);

/* Between the files of the core. */
bool stand_room(uint8_t answer);
void stand_restart(void);
void stand_disarm(uint8_t to);
void stand_trip(uint8_t reason, uint8_t joint, int32_t value, int32_t limit);
void stand_rate(uint16_t hz, uint8_t mask);
void stand_status(uint8_t tag);
void stand_hello(uint16_t nonce);
void stand_flush(uint8_t joint);
void stand_gone(uint8_t joint, uint8_t how, uint32_t time);
void stand_discard(uint8_t joint);
uint16_t pulse_of(const struct setup *s, int32_t command);
enum code setup_read(struct setup *s, const uint8_t *body, uint16_t frame_hz);
void handle(uint8_t *body, uint8_t n);

#endif
