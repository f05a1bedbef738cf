/* One turn of the sensors: all angles first, then currents and the supply, so that the angles of all joints belong to
   nearly one moment. The list of exchanges is made anew each turn. */
#include "board.h"
#include "board_avr.h"
#include "config.h"
#include "stand.h"

static const uint8_t joint_sensor[] = JOINT_SENSOR;
static const uint8_t motor_sensor[] = MOTOR_SENSOR, motor_sensors = MOTOR_SENSORS;
static const uint8_t monitor[] = MONITOR;
static const uint16_t shunt_mohm[] = SHUNT_MOHM;

/* Magnetic angle sensor: 12 bits of raw angle in registers 0x0C and 0x0D; its pointer stays there. */
#define ENCODER 0x36
#define ENCODER_ANGLE 0x0C
#define MULTIPLEXER 0x70
/* Shunt monitor: configuration, shunt voltage (10 uV) and bus voltage (4 mV, from bit 3 on). */
#define MONITOR_CONFIG 0
#define MONITOR_SHUNT 1
#define MONITOR_BUS 2
/* 16 V, 320 mV, 11 bits: both conversions together take 552 us, so that each sample at 1 kHz is fresh. */
const uint8_t bus_tail[2] = {0x19, 0x17};

/* Devices: joint angles, motor angles, monitors. One is set up anew each eighth turn, so that one that restarted
   unnoticed gives nothing wrong for long. */
#define MOTOR JOINTS
#define CURRENT (2 * JOINTS)
#define DEVICES (3 * JOINTS)
#define UPKEEP_TURNS 8

volatile uint16_t bus_stamps[JOINTS];
#define LONGEST (6 * JOINTS + 3 * MOTOR_SENSORS + 2)
static struct exchange list[LONGEST];
static uint8_t n;
static uint8_t place[DEVICES + 1]; /* of a device's reading in the list, the supply's last; NONE */
static uint16_t listed;            /* devices that the list as it is sets up */
static uint16_t stale = 0xFFFF;    /* devices that failed: set up before they are read again */
static uint8_t upkeep, turns;
static int32_t shunt_factor[JOINTS]; /* mA per 10 uV, times 65536 */

static struct exchange *add(uint8_t address, uint8_t count, uint8_t skip) {
	struct exchange *e = &list[n++];
	e->address = (uint8_t)(address << 1);
	e->n = count;
	e->rest = skip;
	return e;
}

static void add_write(uint8_t address, uint8_t byte, uint8_t skip) { add(address, 1, skip)->b[0] = byte; }

static void add_read(uint8_t address, uint8_t device) {
	place[device] = n;
	add(address, device < JOINTS ? (uint8_t)(device + 1) : 0, 0)->address |= EXCHANGE_READ;
}

static uint8_t motor(uint8_t j) { return j < motor_sensors ? motor_sensor[j] : NONE; }

static bool on_pin(uint8_t where) { return (where & 0xF0) == PIN(0); }

static void add_angle(uint8_t where, uint8_t device) {
	bool anew = listed >> device & 1;
	if (where == NONE || on_pin(where))
		return;
	if (where != BUS)
		add_write(MULTIPLEXER, (uint8_t)(1 << where), anew ? 2 : 1);
	if (anew)
		add_write(ENCODER, ENCODER_ANGLE, 1);
	add_read(ENCODER, device);
}

static void add_monitor(uint8_t j) {
	uint8_t address = monitor[j];
	if (address == NONE)
		return;
	if (listed >> (CURRENT + j) & 1) {
		add(address, 3, SUPPLY_FROM == j ? 5 : 2)->b[0] = MONITOR_CONFIG;
		add_write(address, MONITOR_SHUNT, SUPPLY_FROM == j ? 4 : 1);
	}
	add_read(address, (uint8_t)(CURRENT + j));
	if (SUPPLY_FROM == j) {
		add_write(address, MONITOR_BUS, 2);
		add_read(address, DEVICES);
		add_write(address, MONITOR_SHUNT, 0);
	}
}

void sensors_begin(void) {
	bus_begin();
	analogue_begin();
	for (uint8_t j = 0; j < JOINTS; j++)
		shunt_factor[j] = (655360L + shunt_mohm[j] / 2) / shunt_mohm[j];
}

/* All angles first, then currents and the supply, so that the angles of all joints belong to nearly one moment. */
static void make_list(void) {
	n = 0;
	for (uint8_t k = 0; k <= DEVICES; k++)
		place[k] = NONE;
	for (uint8_t j = 0; j < JOINTS; j++) {
		add_angle(joint_sensor[j], j);
		add_angle(motor(j), (uint8_t)(MOTOR + j));
	}
	for (uint8_t j = 0; j < JOINTS; j++)
		add_monitor(j);
}

void sensors_start(void) {
	if (++turns >= UPKEEP_TURNS) {
		turns = 0;
		if (++upkeep >= DEVICES)
			upkeep = 0;
		stale |= (uint16_t)(1U << upkeep);
	}
	if (n == 0 || listed != stale) {
		listed = stale;
		make_list();
	}
	analogue_start();
	if (n)
		bus_start(list, n);
}

/* What was read of a device; null when it gave nothing. */
static const struct exchange *got(uint8_t device) {
	uint8_t k = place[device];
	return k != NONE && list[k].rest ? &list[k] : 0;
}

static uint16_t word(const struct exchange *e) { return (uint16_t)((uint16_t)e->b[0] << 8 | e->b[1]); }

static void read_angles(uint8_t j, struct reading *r) {
	const struct exchange *e = got(j);
	uint8_t where = joint_sensor[j];
	if (on_pin(where)) {
		r->angle = analogue_value(where & 0x0F);
		r->time = clock_at(analogue_stamp(j));
		r->has |= HAS_ANGLE;
	} else if (e) {
		r->angle = word(e) & 0x0FFF;
		r->time = clock_at(bus_stamps[j]);
		r->has |= HAS_ANGLE;
	}
	where = motor(j);
	e = got((uint8_t)(MOTOR + j));
	if (on_pin(where)) {
		r->motor = analogue_value(where & 0x0F);
		r->has |= HAS_MOTOR;
	} else if (e) {
		r->motor = word(e) & 0x0FFF;
		r->has |= HAS_MOTOR;
	}
}

static void read_all(struct reading *all) {
	const struct exchange *e = got(DEVICES);
	uint16_t supply = 0;
	uint8_t has = 0;
	if (on_pin(SUPPLY_FROM)) {
		supply = (uint16_t)((uint32_t)analogue_value(SUPPLY_FROM & 0x0F) * SUPPLY_PIN_FULL_MV >> 10);
		has = HAS_SUPPLY;
	} else if (e) {
		supply = (uint16_t)((word(e) >> 3) * 4);
		has = HAS_SUPPLY;
	}
	for (uint8_t j = 0; j < JOINTS; j++) {
		struct reading *r = &all[j];
		r->has = has;
		r->supply = supply;
		r->time = board_now();
		read_angles(j, r);
		e = got((uint8_t)(CURRENT + j));
		if (e) {
			r->current = (int16_t)(((int16_t)word(e) * shunt_factor[j] + 32768) >> 16);
			r->has |= HAS_CURRENT;
		}
	}
}

bool sensors_done(struct reading all[]) {
	if (!bus_done() || !analogue_done())
		return false;
	read_all(all);
	stale = 0;
	for (uint8_t k = 0; k < DEVICES; k++)
		if (place[k] != NONE && !list[place[k]].rest)
			stale |= (uint16_t)(1U << k);
	return true;
}

static uint8_t bits(uint8_t where) { return (where & 0xF0) == PIN(0) ? 10 : 12; }

struct caps board_caps(uint8_t j) {
	struct caps c;
	c.has = 0;
	if (joint_sensor[j] != NONE)
		c.has |= HAS_ANGLE;
	if (motor(j) != NONE)
		c.has |= HAS_MOTOR;
	if (monitor[j] != NONE)
		c.has |= HAS_CURRENT;
	if (SUPPLY_FROM != NONE)
		c.has |= HAS_SUPPLY;
	c.joint_bits = bits(joint_sensor[j]);
	c.motor_bits = bits(motor(j));
	return c;
}
