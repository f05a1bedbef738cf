/* A shunt monitor's word in mA, against Ohm's law in floating point. */
#include "shunt.h"

#include "fake.h"

#include <math.h>

int main(void) {
	struct shunt s;
	for (unsigned mohm = SHUNT_MOHM_MIN; mohm <= SHUNT_MOHM_MAX; mohm++) {
		shunt_of(&s, (uint16_t)mohm);
		for (long raw = -SHUNT_MOST; raw <= SHUNT_MOST; raw += mohm % 16 ? 797 : 1) {
			double want = (double)raw * 10 / mohm; /* 10 uV a step */
			int got = shunt_milliamps(&s, (int16_t)raw);
			if (want > 32767)
				want = 32767;
			if (want < -32767)
				want = -32767;
			/* The factor has 16 bits, or more than 654 for the greatest shunt. */
			CHECK(fabs(got - want) <= 1 + fabs(want) / 1000, "%ld steps at %u mOhm: %d mA, want %.1f", raw, mohm, got, want);
		}
	}
	shunt_of(&s, 100);
	CHECK(shunt_milliamps(&s, 24000) == 2400, "0.24 V at 0.1 Ohm is 2.4 A");
	shunt_of(&s, 5); /* 320 mV are 64 A, which 16 bits once took for -1.5 A */
	CHECK(shunt_milliamps(&s, SHUNT_MOST) == 32767 && shunt_milliamps(&s, -SHUNT_MOST) == -32767, "64 A");
	return 0;
}
