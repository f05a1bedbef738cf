/* What a shunt monitor's word is in mA. */
#ifndef SHUNT_H
#define SHUNT_H

#include <stdint.h>

#define SHUNT_MOHM_MIN 1
#define SHUNT_MOHM_MAX 1000
#define SHUNT_MOST 32000 /* the monitor's greatest word, 320 mV in steps of 10 uV: what is more looks like it */
#define SHUNT_END 31680  /* a hundredth less, from which on nothing above is sure to be seen */

/* mA per 10 uV, times 65536 over 2^shift, so that it has 16 bits. */
struct shunt {
	uint16_t factor;
	uint8_t shift;
};

/* mohm: SHUNT_MOHM_MIN to SHUNT_MOHM_MAX. */
void shunt_of(struct shunt *s, uint16_t mohm);

/* What is more than 16 bits hold stays at their end: a great current must not look like one backwards. */
int16_t shunt_milliamps(const struct shunt *s, int16_t raw);

#endif
