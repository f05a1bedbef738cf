#include "stand.h"

#include <string.h>

#define QUIET_US UINT32_C(5000000) /* without a heartbeat sampling stops */
#define STATUS_US UINT32_C(100000)
#define HOLD_US UINT32_C(17000)    /* a sample waits no longer than 20 ms for company, and is looked at each third */

enum { OWE_TRIP = 1, OWE_STATUS = 2 };

struct stand stand;

void stand_begin(uint8_t reason) {
	rx_init(&stand.rx, stand.rx_buf, sizeof stand.rx_buf, true);
	stand.held = false;
	stand.reset = reason;
	stand_restart();
	stand_hello(0);
}

/* The state after power-up, hello and bye. What the sensors showed and the last command stay. */
void stand_restart(void) {
	stand.met = false;
	stand.owed = 0;
	stand.token = 0;
	stand.bad = 0;
	for (uint8_t i = 0; i < JOINTS; i++) {
		struct joint *j = &stand.joint[i];
		player_hold(&j->player, j->player.command); /* its moves go without a word: all counts begin anew */
		j->pack.n = 0;
		memset(&j->set, 0, sizeof j->set);
		j->gone = j->seq = j->dropped = j->late = 0;
	}
	stand_disarm(DISARMED);
	stand_rate(0, 0);
}

void stand_disarm(uint8_t to) {
	stand.state = to;
	stand.trip = REASON_NONE;
	stand.trip_joint = NO_JOINT;
	for (uint8_t i = 0; i < JOINTS; i++) {
		board_pulse_off(i);
		stand.joint[i].armed = false;
	}
	for (uint8_t i = 0; i < JOINTS; i++)
		stand_discard(i);
}

static bool send_trip(void) {
	uint8_t b[15], *p = b;
	p = put8(p, TYPE_TRIP);
	p = put8(p, stand.trip);
	p = put8(p, stand.trip_joint);
	p = put32(p, stand.trip_at);
	p = put32(p, (uint32_t)stand.trip_value);
	put32(p, (uint32_t)stand.trip_limit);
	return frame_send(b, 15);
}

/* Pulses end first; what is said of it comes after. */
void stand_trip(uint8_t reason, uint8_t joint, int32_t value, int32_t limit) {
	for (uint8_t i = 0; i < JOINTS; i++) {
		board_pulse_off(i);
		stand.joint[i].armed = false;
	}
	stand.state = TRIPPED;
	stand.trip = reason;
	stand.trip_joint = joint;
	stand.trip_at = board_now();
	stand.trip_value = value;
	stand.trip_limit = limit;
	stand.owed |= OWE_STATUS;
	if (!send_trip())
		stand.owed |= OWE_TRIP;
	for (uint8_t i = 0; i < JOINTS; i++)
		stand_discard(i);
}

void stand_button(void) {
	if (stand.state == ARMED)
		stand_trip(REASON_BUTTON, NO_JOINT, 0, 0);
}

void stand_gone(uint8_t joint, uint8_t how, uint32_t time) {
	struct joint *j = &stand.joint[joint];
	uint8_t b[11], *p = b;
	stand_flush(joint); /* its samples come before the word that it is gone */
	j->gone++;
	p = put8(p, TYPE_MOVE_GONE);
	p = put8(p, joint);
	p = put8(p, how);
	p = put16(p, player_move(&j->player)->segment);
	p = put16(p, j->gone);
	put32(p, time);
	frame_send(b, 11); /* when it is lost, the count in status repairs it */
}

void stand_discard(uint8_t joint) {
	struct player *p = &stand.joint[joint].player;
	uint32_t now = board_now();
	while (p->n) {
		stand_gone(joint, 1, now);
		player_drop(p);
	}
}

void stand_flush(uint8_t joint) {
	struct joint *j = &stand.joint[joint];
	if (j->pack.n == 0)
		return;
	if (!frame_end(&j->pack.frame, j->pack.buf))
		j->dropped = (uint16_t)(j->dropped + j->pack.n);
	j->pack.n = 0;
}

/* Whether the line takes an answer besides what the samples that wait for company need, and the ends of three moves. The line
   sends faster than samples come, so what fits now fits later too. */
bool stand_room(uint8_t answer) {
	uint16_t need = (uint16_t)(answer + 3 * 15);
	for (uint8_t i = 0; i < JOINTS; i++)
		if (stand.joint[i].pack.n)
			need = (uint16_t)(need + stand.joint[i].pack.frame.n + 3); /* check and delimiter */
	return line_room() >= need;
}

void stand_turn(void) {
	uint32_t now = board_now(), silent = now - stand.beat_at;
	const struct joint *j;
	if (!stand.met)
		return;
	if (stand.state == ARMED && silent > HEARTBEAT_US)
		stand_trip(REASON_HEARTBEAT, NO_JOINT, (int32_t)(silent / 1000), HEARTBEAT_US / 1000);
	if (silent > QUIET_US) {
		stand.beat_at = now - QUIET_US; /* the clock wraps: silence must not end by itself */
		if (stand.hz)
			stand_rate(0, 0);
	}
	/* One joint each ms. */
	if (++stand.looked >= JOINTS)
		stand.looked = 0;
	j = &stand.joint[stand.looked];
	if (j->pack.n && now - j->pack.began >= HOLD_US)
		stand_flush(stand.looked);
	if ((stand.owed & OWE_TRIP) && send_trip())
		stand.owed &= (uint8_t)~OWE_TRIP;
	if (stand.owed == OWE_STATUS || now - stand.status_at >= STATUS_US)
		stand_status(0);
}

void stand_status(uint8_t tag) {
	uint8_t b[12 + 12 * JOINTS], *p = b;
	p = put8(p, TYPE_STATUS);
	p = put8(p, tag);
	p = put8(p, stand.state);
	p = put8(p, stand.trip);
	p = put8(p, stand.trip_joint);
	p = put32(p, board_now());
	p = put16(p, stand.bad);
	p = put8(p, JOINTS);
	for (uint8_t i = 0; i < JOINTS; i++) {
		const struct joint *j = &stand.joint[i];
		p = put8(p, (uint8_t)((j->set.known ? 1 : 0) | (j->armed ? 2 : 0) | board_magnets(i)));
		p = put8(p, (uint8_t)(QUEUE - j->player.n));
		p = put16(p, j->player.n ? player_move(&j->player)->segment : 0);
		p = put16(p, j->gone);
		p = put16(p, j->seq);
		p = put16(p, j->dropped);
		p = put16(p, j->late);
	}
	stand.status_at = board_now();
	if (frame_send(b, (uint8_t)(p - b)))
		stand.owed &= (uint8_t)~OWE_STATUS;
	else
		stand.owed |= OWE_STATUS;
}

void stand_hello(uint16_t nonce) {
	static const char name[] FLASH = FIRMWARE_NAME;
	uint8_t b[16 + 7 * JOINTS + sizeof name - 1], *p = b;
	p = put8(p, TYPE_HELLO);
	p = put16(p, 'L' | 'G' << 8);
	p = put8(p, PROTOCOL_MAJOR);
	p = put8(p, PROTOCOL_MINOR);
	p = put16(p, nonce);
	p = put8(p, FIRMWARE_MAJOR);
	p = put8(p, FIRMWARE_MINOR);
	p = put8(p, FIRMWARE_PATCH);
	p = put8(p, stand.reset);
	p = put8(p, QUEUE);
	p = put16(p, MAX_HZ);
	p = put8(p, JOINTS);
	p = put8(p, sizeof name - 1);
	for (uint8_t i = 0; i < JOINTS; i++) {
		const struct caps *c = board_caps(i);
		p = put8(p, c->has | HAS_SERVO);
		p = put24(p, c->has & HAS_ANGLE ? c->joint_turn : 0);
		p = put24(p, c->has & HAS_MOTOR ? c->motor_turn : 0);
	}
	for (uint8_t i = 0; i < sizeof name - 1; i++)
		p = put8(p, (uint8_t)FLASH_BYTE(name[i]));
	frame_send(b, (uint8_t)(p - b));
}
