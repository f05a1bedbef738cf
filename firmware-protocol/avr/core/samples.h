/* Packs samples of one joint into messages. Section 4 of SPEC.md, samples. */
#ifndef SAMPLES_H
#define SAMPLES_H

#include <stdbool.h>
#include <stdint.h>

#include "wire.h"

/* A message that grows until something in it changes, it is full, or its first sample is 20 ms old. What the next sample
   is a step from is kept beside it. */
struct pack {
	uint8_t n;    /* samples in it, 0: none */
	uint8_t full; /* samples that it is to have */
	uint8_t has;
	uint16_t segment;
	uint32_t began, time; /* of the first and the last sample */
	int32_t command, angle, motor;
	struct frame frame;
	uint8_t buf[MAX_BODY + 4];
};

struct joint;
struct reading;

/* Appends what a joint shows, with the fields has; the message that it does not fit into is sent first. */
void pack_add(struct joint *j, uint8_t joint, uint8_t has, const struct reading *r);

#endif
