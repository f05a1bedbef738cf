/* The rules under which an armed joint trips. Section 8 of SPEC.md. */
#ifndef RULES_H
#define RULES_H

#include <stdbool.h>
#include <stdint.h>

#define SENSORS 4 /* joint side, motor side, current, supply: bits 0 to 3 of has */

/* What the rules remember of a joint from reading to reading. */
struct watch {
	bool over;          /* the current is above its limit */
	uint32_t over_at;   /* since when */
	uint8_t outside;    /* readings on end outside the range */
	bool any_silent;
	uint8_t silent[SENSORS]; /* readings on end without an answer, 255 for more */
};

struct reading;

/* Looks at a reading of a joint and trips the stand when it must. has: what the joint's sensors should give. Silence is
   counted of any joint, the rest of armed ones. */
struct joint;
void rules_look(struct joint *j, uint8_t joint, const struct reading *r, uint8_t has);

#endif
