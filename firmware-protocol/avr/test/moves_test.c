/* The moves against what section 7 of SPEC.md says of them, worked out in floating point from the move's own words:
   from + (target - from) * time / travel, then the dwell, then the next move at once. */
#include <math.h>

#include "fake.h"

static uint32_t seed = 1;
static uint32_t draw(uint32_t n) { /* Numerical Recipes, section 7.1 */
	seed = seed * 1664525u + 1013904223u;
	return (uint32_t)(((uint64_t)seed * n) >> 32);
}

static uint32_t rate_of(const struct move *m) { return m->per_ms * 1000u + m->thou; }
static struct move move_at(uint8_t kind, uint16_t segment, int32_t target, uint32_t rate, uint32_t dwell) {
	struct move m = {.kind = kind, .segment = segment, .target = target, .dwell = dwell};
	move_rate(&m, rate);
	CHECK(rate_of(&m) == rate && m.thou < 1000, "a rate of %u became %u", rate, rate_of(&m));
	return m;
}

static double travel_us(double from, const struct move *m) { return rate_of(m) ? fabs(m->target - from) / rate_of(m) * 1e6 : 0; }

/* Plays one move from a place, looked at at odd times, and checks each look. Returns when it ended. */
static uint32_t play(struct player *p, const struct move *m, double from, uint32_t began) {
	double travel = travel_us(from, m), end = travel + m->dwell * 1000.0, slope = m->target > from ? 1 : -1;
	/* Within a ms the way is 5e-4 short, rounded down, and without the last thousandths; the arrival is rounded to a us. */
	double most = 2 + 6e-4 * rate_of(m) / 1000 + rate_of(m) / 1e6;
	uint32_t now = began;
	for (;;) {
		uint32_t since = now - began;
		double want = since >= travel ? m->target : from + slope * rate_of(m) * since / 1e6;
		bool over = player_run(p, now);
		CHECK(fabs(p->command - want) <= most, "%u us into a move from %.0f to %d at %u: command %d, want %.1f", since, from,
		      m->target, rate_of(m), p->command, want);
		if (over)
			break;
		CHECK(since < end + 2, "a move of %.0f us goes on after %u", end, since);
		now += draw(4200) + 1;
	}
	CHECK(fabs((double)(p->mark - began) - end) <= 2, "move from %.0f to %d at %u, dwell %u: ended after %u us, want %.1f", from,
	      m->target, rate_of(m), m->dwell, p->mark - began, end);
	CHECK(p->command == m->target, "ended at %d, want %d", p->command, m->target);
	return p->mark;
}

static void random_moves(void) {
	static const uint32_t rates[] = {0, 1000, 20000, 33333, 60000, 123456, 999, 500000, 4000001, 16777215};
	struct player p = {0};
	uint32_t at = 4294000000u; /* wraps on the way */
	double from = 0;
	player_hold(&p, 0);
	p.fresh = false;
	for (int k = 0; k < 3000; k++) {
		struct move m = move_at(2, 1, (int32_t)draw(150001) - 75000, rates[draw(10)], draw(20));
		if (m.thou == 999)
			m.target = (int32_t)from + (int32_t)draw(200) - 100;
		player_add(&p, &m, at);
		at = play(&p, &m, from, at);
		player_next(&p);
		from = m.target;
	}
}

/* A queue of moves ends when the sum of its parts says, however seldom it is looked at. */
static void chain(void) {
	struct player p = {0};
	double sum = 0, from = 1234;
	uint32_t ended = 0, n = 0;
	player_hold(&p, 1234);
	p.fresh = false;
	for (uint16_t k = 1; k <= QUEUE; k++) {
		struct move m = move_at(3, k, k % 2 ? 70000 : -70001, 37000u + k, 250);
		player_add(&p, &m, 1000);
		sum += travel_us(from, &m) + 250000;
		from = m.target;
	}
	for (uint32_t now = 1000; n < QUEUE; now += 3990)
		while (player_run(&p, now)) {
			ended = p.mark;
			n++;
			player_next(&p);
		}
	CHECK(fabs(ended - 1000 - sum) <= QUEUE, "%d moves ended after %u us, want %.0f", QUEUE, ended - 1000, sum);
}

/* A minute of crawling: 1 mdeg/s adds nothing up wrong. */
static void crawl(void) {
	struct player p = {0};
	struct move m = move_at(3, 1, 60, 1, 0);
	uint32_t now = 0;
	player_hold(&p, 0);
	p.fresh = false;
	player_add(&p, &m, 0);
	while (!player_run(&p, now))
		now += 4000;
	CHECK(p.mark >= 59990000 && p.mark <= 60000000, "60 mdeg at 1 mdeg/s took %u us", p.mark);
}

static void first_is_slow(void) {
	struct player p = {0};
	struct move at_once = move_at(4, 1, 30000, 0, 0);
	player_hold(&p, 0);
	player_add(&p, &at_once, 0);
	player_run(&p, 500000);
	CHECK(p.command >= 14999 && p.command <= 15000, "half a second after arming the first move is at %d, want 30 deg/s", p.command);
	while (!player_run(&p, 1000000)) 
		CHECK(p.n, "gone");
	player_next(&p);
	at_once.target = 0;
	player_add(&p, &at_once, 1000000);
	player_run(&p, 1000000);
	CHECK(p.command == 0, "the second move at once is at %d", p.command);
}

/* A sample may be older than a move that came meanwhile. */
static void early_look(void) {
	struct player p = {0};
	struct move m = move_at(4, 1, 30000, 10000, 0);
	player_hold(&p, 0);
	player_add(&p, &m, 5000);
	CHECK(!player_run(&p, 4900) && p.command == 0, "a move began before it came: %d", p.command);
}

/* The pulse of section 4's straight line: 500 us at -90 deg, 2500 us at 90 deg, and the same turned round. */
static void pulses(void) {
	uint8_t b[30] = {3, 1, 0, 0};
	struct setup s;
	for (int falling = 0; falling < 2; falling++) {
		put24(put24(b + 4, (uint32_t)-75000), 75000);
		put16(put16(b + 10, 500), 2500);
		put24(put24(b + 14, falling ? 90000 : (uint32_t)-90000), falling ? (uint32_t)-90000 : 90000);
		CHECK(setup_read(&s, b, 50) == TAKEN, "refused");
		for (int32_t c = -90000; c <= 90000; c += 7) {
			double want = 1000 + (falling ? 90000.0 - c : c + 90000.0) * 4000 / 180000;
			CHECK(fabs(pulse_of(&s, c) - want) <= 0.75, "command %d: %d half us, want %.2f", c, pulse_of(&s, c), want);
		}
		CHECK(pulse_of(&s, 120000) == (falling ? 1000 : 5000) && pulse_of(&s, -120000) == (falling ? 5000 : 1000), "beyond the line");
	}
	/* A belt of 10 : 1, an odd offset, and the steepest that a servo could be. */
	put24(put24(b + 14, (uint32_t)-8123), 9877);
	CHECK(setup_read(&s, b, 50) == TAKEN, "refused");
	for (int32_t c = -8123; c <= 9877; c++)
		CHECK(fabs(pulse_of(&s, c) - (1000 + (c + 8123.0) * 4000 / 18000)) <= 0.75, "command %d: %d", c, pulse_of(&s, c));
	put24(put24(b + 14, 0), 4001);
	CHECK(setup_read(&s, b, 50) == TAKEN && pulse_of(&s, 2000) == 3000 && pulse_of(&s, 4001) == 5000, "1 mdeg per half us: %d", pulse_of(&s, 2000));
	put24(put24(b + 14, 0), 4000);
	CHECK(setup_read(&s, b, 50) == CODE_VALUE, "no more than 1 mdeg per half us was taken");
}

int main(void) {
	random_moves();
	chain();
	crawl();
	first_is_slow();
	early_look();
	pulses();
	return 0;
}
