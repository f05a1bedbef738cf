/* Answers each message of the host. The order of tests is that of section 9 of SPEC.md. */
#include "stand.h"

#define TOKEN_US UINT32_C(2000000)
#define SETUP_LONG 32 /* bytes of a setup_joint that names a frame rate */
#define BLIND_TIMES 3 /* readings on end that may fail before arming */

/* Why a message changes nothing, and the joint it is about. */
struct refused {
	uint8_t code, joint;
};

static struct refused refuse(enum code c, uint8_t joint) {
	struct refused r;
	r.code = (uint8_t)c;
	r.joint = joint;
	return r;
}

static struct refused taken(void) { return refuse(TAKEN, NO_JOINT); }

static void answer(uint8_t type, uint8_t tag, struct refused r) {
	uint8_t b[5], *p = b;
	p = put8(p, r.code ? TYPE_REFUSAL : TYPE_ACK);
	p = put8(p, tag);
	p = put8(p, type);
	if (r.code) {
		p = put8(p, r.code);
		p = put8(p, r.joint);
	}
	frame_send(b, (uint8_t)(p - b));
}

/* One rate for all joints that are set up: two of the outputs share a timer, and a servo made for 50 pulses a second
   must not get those of another. */
static struct refused set_up(const uint8_t *b, uint8_t n) {
	uint8_t joint = b[2];
	uint16_t hz = n < SETUP_LONG ? 0 : get16(b + 30); /* else the frame's check stands there */
	enum code c;
	if (joint >= JOINTS)
		return refuse(CODE_NO_JOINT, joint);
	if (stand.state == ARMED)
		return refuse(CODE_ARMED, joint);
	if (hz == 0)
		hz = SERVO_FRAME_HZ;
	if (hz < FRAME_HZ_MIN || hz > FRAME_HZ_MAX)
		return refuse(CODE_FRAME, joint);
	for (uint8_t i = 0; i < JOINTS; i++)
		if (i != joint && stand.joint[i].set.known && hz != stand.frame_hz)
			return refuse(CODE_FRAME, joint);
	c = setup_read(&stand.joint[joint].set, b, hz);
	if (c == TAKEN) {
		uint16_t end = board_current_end(joint);
		if (stand.joint[joint].set.current_max >= end) /* no reading would be above it */
			stand.joint[joint].set.current_max = (uint16_t)(end - 1);
		stand.frame_hz = hz;
		board_frame(hz);
		stand_anew(joint);
	}
	return refuse(c, joint);
}

static struct refused set_sampling(const uint8_t *b) {
	uint16_t hz = get16(b + 2);
	if (b[4] >> JOINTS)
		return refuse(CODE_NO_JOINT, NO_JOINT);
	if (stand.state == ARMED)
		return refuse(CODE_ARMED, NO_JOINT);
	if (hz > MAX_HZ)
		return refuse(CODE_RATE, NO_JOINT);
	stand_rate(hz, b[4]);
	return taken();
}

static void clock_tell(uint8_t tag) {
	uint8_t b[6];
	b[0] = TYPE_CLOCK;
	b[1] = tag;
	put32(b + 2, board_now());
	frame_send(b, 6);
}

static void token_tell(uint8_t tag) {
	uint8_t b[4];
	do
		stand.token = board_chance();
	while (stand.token == 0 || stand.token == stand.last_token);
	stand.last_token = stand.token;
	stand.token_at = board_now();
	b[0] = TYPE_ARM_TOKEN;
	b[1] = tag;
	put16(b + 2, stand.token);
	frame_send(b, 4);
}

static void begin(uint8_t i) {
	struct joint *j = &stand.joint[i];
	player_hold(&j->player, j->player.command); /* followed the sensor up to now */
	if (j->player.command < j->set.min)
		j->player.command = j->set.min;
	if (j->player.command > j->set.max)
		j->player.command = j->set.max;
	j->watch.over = false;
	j->watch.outside = 0;
	j->last = 0;
	j->commanded = true;
	j->armed = true;
	board_pulse(i, pulse_of(&j->set, j->player.command));
}

/* A joint whose sensor should show where it is and does not would jump. */
static bool blind(uint8_t i) {
	const struct joint *j = &stand.joint[i];
	return (board_caps(i)->has & HAS_ANGLE) && (!j->angle.seen || j->watch.silent[0] > BLIND_TIMES);
}

static struct refused arm(const uint8_t *b) {
	uint16_t token = stand.token;
	uint8_t mask = b[4], i;
	uint32_t now = board_now();
	stand.token = 0; /* good once, right or wrong */
	if (mask == 0 || mask >> JOINTS)
		return refuse(CODE_NO_JOINT, NO_JOINT);
	for (i = 0; i < JOINTS; i++)
		if ((mask >> i & 1) && blind(i))
			return refuse(CODE_NO_JOINT, i);
	if (stand.state == TRIPPED)
		return refuse(CODE_TRIPPED, NO_JOINT);
	if (stand.state == ARMED) {
		for (i = 0; i < JOINTS; i++)
			if (stand.joint[i].armed != (mask >> i & 1))
				return refuse(CODE_ARMED, i);
		return taken(); /* a repeat */
	}
	for (i = 0; i < JOINTS; i++)
		if ((mask >> i & 1) && !stand.joint[i].set.known)
			return refuse(CODE_NOT_SET_UP, i);
	if (now - stand.beat_at > HEARTBEAT_US)
		return refuse(CODE_NO_HEARTBEAT, NO_JOINT);
	if (token == 0 || get16(b + 2) != token || now - stand.token_at > TOKEN_US)
		return refuse(CODE_TOKEN, NO_JOINT);
	for (i = 0; i < JOINTS; i++)
		if (mask >> i & 1)
			begin(i);
	stand.state = ARMED;
	stand.low = false;
	return taken();
}

static struct refused queue(const uint8_t *b) {
	struct joint *j;
	struct move m;
	if (b[2] >= JOINTS)
		return refuse(CODE_NO_JOINT, b[2]);
	j = &stand.joint[b[2]];
	if (stand.state == TRIPPED)
		return refuse(CODE_TRIPPED, NO_JOINT);
	if (stand.state != ARMED)
		return refuse(CODE_NOT_ARMED, NO_JOINT);
	if (!j->armed)
		return refuse(CODE_NO_JOINT, b[2]);
	m.kind = b[3];
	m.segment = get16(b + 4);
	m.target = get24(b + 6);
	move_rate(&m, get24u(b + 9));
	m.dwell = get32(b + 12);
	if (m.kind == 0 || m.kind > 7 || m.segment == 0)
		return refuse(CODE_VALUE, b[2]);
	if (m.segment == j->last)
		return taken(); /* a repeat */
	if (m.target < j->set.min || m.target > j->set.max)
		return refuse(CODE_RANGE, b[2]);
	if (j->player.n == QUEUE)
		return refuse(CODE_QUEUE_FULL, b[2]);
	j->last = m.segment;
	player_add(&j->player, &m, board_now());
	return taken();
}

/* The least length of each message, by type; 0: no such message. */
static const uint8_t lengths[] FLASH = {0, 7, 5, 30, 2, 2, 2, 5, 2, 16, 3, 2, 2};

static bool is_hello(const uint8_t *b, uint8_t n) {
	return b[0] == TYPE_HELLO_ASK && n >= 7 && b[1] == 'L' && b[2] == 'G';
}

void handle(uint8_t *b, uint8_t n) {
	uint8_t type = b[0], tag = n > 1 ? b[1] : 0, was;
	if (is_hello(b, n)) {
		stand_restart();
		stand.met = b[3] == PROTOCOL_MAJOR;
		stand.beat_at = stand.status_at = board_now();
		stand_hello(get16(b + 5));
		return;
	}
	if (!stand.met) {
		answer(type, tag, refuse(CODE_NO_HELLO, NO_JOINT));
		return;
	}
	if (type >= sizeof lengths || FLASH_BYTE(lengths[type]) == 0) {
		answer(type, tag, refuse(CODE_UNKNOWN, NO_JOINT));
		return;
	}
	if (n < FLASH_BYTE(lengths[type]) || type == TYPE_HELLO_ASK) {
		answer(type, tag, refuse(CODE_MALFORMED, NO_JOINT));
		return;
	}
	was = stand.state;
	switch (type) {
	case TYPE_HEARTBEAT:
		stand.beat_at = board_now();
		return;
	case TYPE_CLOCK_ASK:
		clock_tell(tag);
		return;
	case TYPE_STATUS_ASK:
		stand_status(tag);
		return;
	case TYPE_ARM_ASK:
		token_tell(tag);
		return;
	case TYPE_SETUP_JOINT:
		answer(type, tag, set_up(b, n));
		break;
	case TYPE_SETUP:
		answer(type, tag, set_sampling(b));
		break;
	case TYPE_ARM:
		answer(type, tag, arm(b));
		break;
	case TYPE_MOVE:
		answer(type, tag, queue(b));
		break;
	case TYPE_STOP:
		for (uint8_t i = 0; i < JOINTS; i++)
			if (b[2] >> i & 1)
				stand_discard(i);
		answer(type, tag, taken());
		break;
	case TYPE_DISARM:
		stand_disarm(DISARMED);
		answer(type, tag, taken());
		break;
	case TYPE_BYE:
		stand_disarm(DISARMED);
		answer(type, tag, taken());
		stand_restart();
		return;
	}
	if (stand.state != was)
		stand_status(0);
}

/* Bytes of the longest answer to the message that waits, with its frame. */
static uint8_t answer_of(uint8_t type) {
	if (type == TYPE_HEARTBEAT)
		return 0; /* a stand that is asked much must not trip */
	if (type == TYPE_HELLO_ASK)
		return 16 + 7 * JOINTS + 16 + 4;
	if (type == TYPE_STATUS_ASK || type == TYPE_DISARM || type == TYPE_BYE || type == TYPE_ARM)
		return 2 * 4 + 3 + 12 + 12 * JOINTS; /* and the ack */
	return 10;
}

/* Does what the message says that waits, when the line has room for the answer. When more bytes come than can wait it is
   dropped and counted, for heartbeats are among them, and the host that hears no answer says it again. What ends motion is
   never dropped. */
static bool answered(bool crowded) {
	uint8_t type = stand.rx.buf[0], answer = answer_of(type);
	if (answer && !stand_room(answer)) {
		if (!crowded || type == TYPE_DISARM || type == TYPE_STOP || type == TYPE_BYE)
			return false;
		stand.bad++;
	} else {
		handle(stand.rx.buf, stand.rx.body);
	}
	stand.held = false;
	return true;
}

uint8_t stand_bytes(const uint8_t *p, uint8_t n, bool crowded) {
	if (stand.held && !answered(crowded))
		return 0;
	switch (rx_bytes(&stand.rx, p, &n)) {
	case RX_MORE:
		break;
	case RX_FRAME:
		stand.held = true;
		answered(false);
		break;
	default:
		stand.bad++;
	}
	return n;
}
