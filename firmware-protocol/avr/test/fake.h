/* A board of variables, and a host that speaks to the core on it. */
#ifndef FAKE_H
#define FAKE_H

#include <stdio.h>
#include <stdlib.h>

#include "stand.h"

struct fake {
	uint32_t us;              /* the board's clock */
	struct caps caps[JOINTS];
	struct reading show[JOINTS]; /* what the sensors give; the time is filled in */
	uint16_t pulse[JOINTS];   /* half us, 0: none */
	uint8_t magnets;          /* of joint 0, as status has them */
	uint16_t frame_hz;        /* as the board was told last, 0: never */
	bool beating, blocked;    /* the host is alive; the line takes nothing */
	uint8_t beat;
	uint16_t chance;
};
extern struct fake fake;

/* Power-up with all sensors at 0 deg, 0 mA, 6 V. */
void fake_begin(void);

static inline void fake_byte(uint8_t b) { (void)stand_bytes(&b, 1, false); }

/* Sends a message of the host, time standing still. */
void fake_say(const uint8_t *body, uint8_t n);
/* The same, written as numbers: each letter of fmt packs one, b w t d for 1, 2, 3, 4 bytes. */
void fake_tell(const char *fmt, ...);

/* Lets time pass in steps of 1 ms; the heartbeat comes each 100 ms while fake.beating. */
void fake_run(uint32_t ms);

/* The next message of the stand, 0 when there is none. */
uint8_t fake_hear(uint8_t *body);
/* The next of a type, others thrown away; false when there is none. */
bool fake_hear_type(uint8_t type, uint8_t *body);
/* Throws away what the stand has said. */
void fake_forget(void);

/* hello, heartbeat, joint set up from -75 to 75 deg with 500 to 2500 us for -90 to 90 deg, 2500 mA for 300 ms, sampling. */
void fake_ready(uint16_t hz);
/* And armed, joint 0. */
void fake_armed(uint16_t hz);
/* The answer to the message with a tag: 0 for an ack, a refusal's code, or 255 for neither. */
uint8_t fake_answer(uint8_t tag);
void fake_move(uint8_t tag, uint16_t segment, int32_t target, uint32_t rate, uint32_t dwell);
uint16_t counts_of(double deg);

#define CHECK(cond, ...) \
	do { \
		if (!(cond)) { \
			fprintf(stderr, "%s:%d: %s: ", __FILE__, __LINE__, #cond); \
			fprintf(stderr, __VA_ARGS__); \
			fputc('\n', stderr); \
			exit(1); \
		} \
	} while (0)

#endif
