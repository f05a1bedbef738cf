/* The shared vectors. Frames must be found and judged as each file says; bodies stuffed again must give the same bytes;
   what a stand gets must be refused or taken, and moves and set-ups understood field by field. */
#include <ctype.h>
#include <dirent.h>
#include <string.h>

#include "fake.h"

struct vector {
	char name[64], to[8], expect[16], type[16];
	uint8_t wire[1024], bodies[8][MAX_BODY];
	size_t wires;
	uint8_t n[8], count;
	bool encode;
	long field[16];
	uint8_t fields;
};

static size_t hex(const char *s, uint8_t *out) {
	size_t n = 0;
	unsigned v;
	while (sscanf(s, "%2x", &v) == 1) {
		out[n++] = (uint8_t)v;
		s += 2;
		while (*s == ' ')
			s++;
	}
	return n;
}

static struct vector read_vector(const char *path, const char *name) {
	static char line[4096];
	static struct vector v;
	FILE *f = fopen(path, "r");
	memset(&v, 0, sizeof v);
	v.encode = true;
	snprintf(v.name, sizeof v.name, "%s", name);
	CHECK(f != NULL, "%s", path);
	while (fgets(line, sizeof line, f)) {
		char *value = strstr(line, ": ");
		line[strcspn(line, "\n")] = 0;
		CHECK(value != NULL, "%s: %s", path, line);
		*value = 0;
		value += 2;
		if (!strcmp(line, "wire"))
			v.wires += hex(value, v.wire + v.wires);
		else if (!strcmp(line, "body"))
			v.n[v.count] = (uint8_t)hex(value, v.bodies[v.count]), v.count++;
		else if (!strcmp(line, "to"))
			snprintf(v.to, sizeof v.to, "%s", value);
		else if (!strcmp(line, "expect"))
			snprintf(v.expect, sizeof v.expect, "%s", value);
		else if (!strcmp(line, "type"))
			snprintf(v.type, sizeof v.type, "%s", value);
		else if (!strcmp(line, "encode"))
			v.encode = strcmp(value, "no") != 0;
		else if (!strcmp(line, "field") && strchr(value, ' '))
			v.field[v.fields++] = strtol(strchr(value, ' '), NULL, 10);
		else
			CHECK(!strcmp(line, "comment") || !strcmp(line, "record"), "%s: unknown key %s", path, line);
	}
	fclose(f);
	return v;
}

static void decode(const struct vector *v) {
	static const char *const names[] = {"", "", "checksum", "stuffing", "too_long", "too_short"};
	uint8_t buf[STUFFED(MAX_BODY)], got = 0;
	char verdict[64] = "ok";
	struct rx rx;
	rx_init(&rx, buf, sizeof buf, false);
	for (size_t i = 0; i < v->wires; i++) {
		enum rx_result r = rx_byte(&rx, v->wire[i]);
		if (r == RX_MORE)
			continue;
		if (r != RX_FRAME) {
			CHECK(!strcmp(verdict, "ok"), "%s: a second fault", v->name);
			snprintf(verdict, sizeof verdict, "%s", names[r]);
			continue;
		}
		CHECK(got < v->count && rx.body == v->n[got] && !memcmp(buf, v->bodies[got], rx.body), "%s: body %d", v->name, got);
		got++;
	}
	CHECK(got == v->count, "%s: %d bodies, want %d", v->name, got, v->count);
	if (strcmp(v->expect, "unknown") && strcmp(v->expect, "malformed"))
		CHECK(!strcmp(verdict, v->expect), "%s: %s, want %s", v->name, verdict, v->expect);
}

static void encode(const struct vector *v) {
	uint8_t n;
	line_head = line_tail = line_ring + LINE_RING - 7; /* over the end of the ring */
	CHECK(frame_send(v->bodies[0], v->n[0]), "%s: no room", v->name);
	for (n = 0; line_tail != line_head; n++) {
		CHECK(n < v->wires && *line_tail == v->wire[n], "%s: byte %d is 0x%02X, want 0x%02X", v->name, n, *line_tail, v->wire[n]);
		line_tail = line_tail + 1 == line_ring + LINE_RING ? line_ring : line_tail + 1;
	}
	CHECK(n == v->wires, "%s: %d bytes, want %zu", v->name, n, v->wires);
	line_head = line_tail = line_ring;
}

/* A stand that is set up as the vectors need it takes the bytes. */
static void receive(const struct vector *v) {
	uint8_t b[MAX_BODY], type = v->bodies[v->count - 1][0], tag = v->bodies[v->count - 1][1], want = 0;
	const long *f = v->field;
	fake_armed(250);
	for (size_t i = 0; i < v->wires; i++)
		fake_byte(v->wire[i]);
	if (!strcmp(v->expect, "unknown"))
		want = CODE_UNKNOWN;
	else if (!strcmp(v->expect, "malformed"))
		want = CODE_MALFORMED;
	if (want) {
		CHECK(fake_answer(tag) == want, "%s: not refused so", v->name);
		return;
	}
	switch (type) {
	case TYPE_HELLO_ASK:
		CHECK(fake_hear_type(TYPE_HELLO, b) && get16(b + 5) == f[2], "%s", v->name);
		break;
	case TYPE_SETUP:
	case TYPE_SETUP_JOINT:
		CHECK(fake_answer(tag) == CODE_ARMED, "%s: armed", v->name);
		break;
	case TYPE_CLOCK_ASK:
		CHECK(fake_hear_type(TYPE_CLOCK, b) && b[1] == tag && get32(b + 2) == fake.us, "%s", v->name);
		break;
	case TYPE_ARM_ASK:
		CHECK(fake_hear_type(TYPE_ARM_TOKEN, b) && b[1] == tag && get16(b + 2) != 0, "%s", v->name);
		break;
	case TYPE_STATUS_ASK:
		CHECK(fake_hear_type(TYPE_STATUS, b) && b[1] == tag && b[2] == ARMED, "%s", v->name);
		break;
	case TYPE_HEARTBEAT:
		CHECK(stand.beat_at == fake.us, "%s", v->name);
		break;
	case TYPE_MOVE: /* joint 2 is there and not armed; range and all else belong to a joint that is */
		CHECK(fake_answer(tag) == (f[1] == 0 ? CODE_RANGE : CODE_NO_JOINT), "%s", v->name);
		break;
	case TYPE_ARM:
		CHECK(fake_answer(tag) == CODE_ARMED, "%s: another mask", v->name);
		break;
	default:
		CHECK(fake_answer(tag) == 0, "%s: no ack", v->name);
	}
}

/* Every field of the two messages that have many. */
static void understand(const struct vector *v) {
	const long *f = v->field;
	if (!strncmp(v->name, "good_setup_joint", 16)) {
		const struct setup *s = &stand.joint[f[1]].set;
		fake_ready(250);
		stand.joint[0].set.known = false; /* it may have another frame rate */
		for (size_t i = 0; i < v->wires; i++)
			fake_byte(v->wire[i]);
		CHECK(fake_answer((uint8_t)f[0]) == 0 && s->known && s->joint_back == (f[2] & 1) && s->motor_back == (f[2] >> 1 & 1), "flags");
		CHECK(s->min == f[3] && s->max == f[4] && s->shortest == 2 * f[5] && s->longest == 2 * f[6] && s->pulse_at == f[7], "range, pulses");
		CHECK(pulse_of(s, (int32_t)f[8]) == 2 * f[6], "the line's other end");
		CHECK(s->current_max == f[9] && s->over == f[10] && s->zero == f[11] && s->motor_zero == f[12], "limits, zeros");
		CHECK(fake.frame_hz == (f[13] ? f[13] : SERVO_FRAME_HZ), "%s: %d pulses a second", v->name, fake.frame_hz);
	}
	if (!strncmp(v->name, "good_move", 9) && f[1] == 2) {
		const struct move *m = &stand.joint[2].player.queue[0];
		long rate;
		fake_armed(250);
		stand.joint[2].armed = true; /* as if joint 2 were */
		stand.joint[2].set = stand.joint[0].set;
		player_hold(&stand.joint[2].player, 0);
		for (size_t i = 0; i < v->wires; i++)
			fake_byte(v->wire[i]);
		rate = m->per_ms * 1000L + m->thou;
		CHECK(fake_answer((uint8_t)f[0]) == 0 && m->kind == f[2] && m->segment == f[3] && m->target == f[4] && rate == f[5] &&
		      m->dwell == f[6], "%s: kind %d segment %d target %d rate %ld dwell %u", v->name, m->kind, m->segment, m->target, rate, m->dwell);
	}
}

int main(int argc, char **argv) {
	const char *folder = argc > 1 ? argv[1] : "../vectors";
	DIR *d = opendir(folder);
	struct dirent *e;
	int count = 0, encoded = 0, received = 0;
	CHECK(d != NULL, "%s", folder);
	while ((e = readdir(d)) != NULL) {
		char path[512], name[64];
		struct vector v;
		size_t n = strlen(e->d_name);
		if (n < 5 || strcmp(e->d_name + n - 4, ".txt"))
			continue;
		snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
		snprintf(name, sizeof name, "%.*s", (int)(n - 4), e->d_name);
		v = read_vector(path, name);
		decode(&v);
		count++;
		if (!strcmp(v.expect, "ok") && v.encode)
			encode(&v), encoded++;
		if (!strcmp(v.to, "stand") && v.count && (!strcmp(v.expect, "ok") || !strcmp(v.expect, "unknown") || !strcmp(v.expect, "malformed")))
			receive(&v), received++;
		understand(&v);
	}
	closedir(d);
	CHECK(count >= 60 && encoded >= 30 && received >= 20, "%d vectors, %d encoded, %d received: too few", count, encoded, received);
	printf("%d vectors: all decoded, %d encoded, %d received\n", count, encoded, received);
	return 0;
}
