/* Packs samples of one joint into messages. Section 4 of SPEC.md, samples. */
#ifndef SAMPLES_H
#define SAMPLES_H

#include <stdbool.h>
#include <stdint.h>

#include "wire.h"

struct sample {
	uint8_t has, kind;
	uint16_t segment, seq;
	uint32_t time;
	int32_t command, angle, motor; /* mdeg */
	int16_t current;               /* mA */
	uint16_t supply;               /* mV */
};

/* A message that grows until something in it changes, it is full, or its first sample is 20 ms old. */
struct pack {
	uint8_t n;   /* samples in it, 0: none */
	uint8_t len; /* bytes */
	uint32_t began;
	struct sample last;
	uint8_t body[MAX_BODY + 2];
};

/* Appends a sample; false, and nothing taken, when it belongs into the next message. */
bool pack_add(struct pack *p, uint8_t joint, const struct sample *s);

#endif
