/* Plays moves as the firmware does, for a test that compares them with another stand's: lines of standard input are
   "hold command", "add us kind segment target rate dwell" and "look us"; each look prints the moves that ended, as
   "gone segment us", and then "at command". */
#include <stdio.h>
#include <string.h>

#include "moves.h"

int main(void) {
	char line[256], word[16];
	struct player p = {0};
	while (fgets(line, sizeof line, stdin)) {
		long long v[6] = {0};
		int n = sscanf(line, "%15s %lld %lld %lld %lld %lld %lld", word, v, v + 1, v + 2, v + 3, v + 4, v + 5);
		if (n == 2 && !strcmp(word, "hold")) {
			player_hold(&p, (int32_t)v[0]);
		} else if (n == 7 && !strcmp(word, "add") && p.n < QUEUE) {
			struct move m = {.kind = (uint8_t)v[1], .segment = (uint16_t)v[2], .target = (int32_t)v[3], .dwell = (uint32_t)v[5]};
			move_rate(&m, (uint32_t)v[4]);
			player_add(&p, &m, (uint32_t)v[0]);
		} else if (n == 2 && !strcmp(word, "look")) {
			while (player_run(&p, (uint32_t)v[0])) {
				printf("gone %u %u\n", player_move(&p)->segment, p.mark);
				player_next(&p);
			}
			printf("at %d\n", p.command);
		} else {
			fprintf(stderr, "not understood: %s", line);
			return 1;
		}
	}
	return 0;
}
