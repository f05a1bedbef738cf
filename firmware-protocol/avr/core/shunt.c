#include "shunt.h"

void shunt_of(struct shunt *s, uint16_t mohm) {
	uint32_t factor = (UINT32_C(655360) + mohm / 2) / mohm;
	for (s->shift = 0; factor > 0xFFFF; s->shift++)
		factor >>= 1;
	s->factor = (uint16_t)factor;
}

int16_t shunt_milliamps(const struct shunt *s, int16_t raw) {
	int32_t product = (int32_t)raw * s->factor;
	if (s->shift == 0)
		return (int16_t)((product + 32768) >> 16);
	product = (product + (INT32_C(1) << (15 - s->shift))) >> (16 - s->shift);
	if (product > INT16_MAX)
		return INT16_MAX;
	if (product < -INT16_MAX)
		return -INT16_MAX;
	return (int16_t)product;
}
