/* Reads bytes from standard input and prints what a decoder makes of them: frames taken, faults by kind, and a digest of
   the bodies (FNV-1a, 64 bit, over each length and body). The Go codec must print the same. */
#include <stdio.h>

#include "fake.h"

int main(void) {
	static uint8_t chunk[1 << 16];
	uint8_t buf[STUFFED(MAX_BODY)];
	unsigned long long digest = 14695981039346656037ull, count[6] = {0};
	struct rx rx;
	size_t n;
	rx_init(&rx, buf, sizeof buf, false);
	while ((n = fread(chunk, 1, sizeof chunk, stdin)) > 0)
		for (size_t i = 0; i < n;) { /* in runs of 1 to 16 bytes, as they wait in a ring */
			uint8_t run = (uint8_t)((digest + i * 7) % 16 + 1);
			enum rx_result r;
			if (run > n - i)
				run = (uint8_t)(n - i);
			r = rx_bytes(&rx, chunk + i, &run);
			i += run;
			count[r]++;
			if (r != RX_FRAME)
				continue;
			digest = (digest ^ rx.body) * 1099511628211ull;
			for (uint8_t k = 0; k < rx.body; k++)
				digest = (digest ^ buf[k]) * 1099511628211ull;
		}
	printf("frames %llu checksum %llu stuffing %llu too_long %llu too_short %llu digest %016llx\n", count[RX_FRAME],
	       count[RX_CHECKSUM], count[RX_STUFFING], count[RX_TOO_LONG], count[RX_TOO_SHORT], digest);
	return 0;
}
