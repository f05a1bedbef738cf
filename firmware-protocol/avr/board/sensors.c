/* One turn of the sensors: all angles first, then currents and the supply, so that the angles of all joints belong to
   nearly one moment. The list of exchanges is made anew each turn. */
#include "board.h"
#include "board_avr.h"
#include "config.h"
#include "stand.h"

static const uint8_t joint_sensor[] = JOINT_SENSOR;
static const uint8_t motor_sensor[] = MOTOR_SENSOR;
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

/* Slots: joint angles, motor angles, currents, supply. Devices, of which one is set up anew each turn so that one that
   restarted gives nothing wrong for long, have the numbers of their slots. */
#define SLOT_MOTOR JOINTS
#define SLOT_CURRENT (2 * JOINTS)
#define SLOT_SUPPLY (3 * JOINTS)
#define DEVICES (3 * JOINTS)

#define LONGEST (9 * JOINTS + 3)
static struct exchange list[LONGEST];
static uint8_t n;
static uint16_t stale = 0xFFFF; /* devices that failed: set up before they are read again */
static uint8_t refresh;
static int32_t shunt_factor[JOINTS]; /* mA per 10 uV, times 65536 */

static struct exchange *add(uint8_t address, uint8_t count, uint8_t skip) {
	struct exchange *e = &list[n++];
	e->address = (uint8_t)(address << 1);
	e->n_skip = (uint8_t)(count | skip << 4);
	return e;
}

static void add_write(uint8_t address, uint8_t byte, uint8_t skip) { add(address, 1, skip)->b = byte; }

static void add_read(uint8_t address, uint8_t slot) {
	struct exchange *e = add(address, 0, 0);
	e->address |= WIRE_READ;
	e->slot = slot;
}

static void add_angle(uint8_t where, uint8_t slot) {
	bool anew = stale >> slot & 1;
	if (where == NONE || (where & 0xF0) == PIN(0))
		return;
	if (where != BUS)
		add_write(MULTIPLEXER, (uint8_t)(1 << where), anew ? 2 : 1);
	if (anew)
		add_write(ENCODER, ENCODER_ANGLE, 1);
	add_read(ENCODER, slot);
}

static void add_monitor(uint8_t j) {
	uint8_t address = monitor[j];
	if (address == NONE)
		return;
	if (stale >> (SLOT_CURRENT + j) & 1) {
		add(address, 3, SUPPLY_FROM == j ? 5 : 2)->b = MONITOR_CONFIG;
		add_write(address, MONITOR_SHUNT, SUPPLY_FROM == j ? 4 : 1);
	}
	add_read(address, (uint8_t)(SLOT_CURRENT + j));
	if (SUPPLY_FROM == j) {
		add_write(address, MONITOR_BUS, 2);
		add_read(address, SLOT_SUPPLY);
		add_write(address, MONITOR_SHUNT, 0);
	}
}

void sensors_begin(void) {
	bus_begin();
	analogue_begin();
	for (uint8_t j = 0; j < JOINTS; j++)
		shunt_factor[j] = (655360L + shunt_mohm[j] / 2) / shunt_mohm[j];
}

void sensors_start(void) {
	n = 0;
	if (++refresh >= DEVICES)
		refresh = 0;
	stale |= (uint16_t)(1U << refresh);
	for (uint8_t j = 0; j < JOINTS; j++) {
		add_angle(joint_sensor[j], j);
		add_angle(motor_sensor[j], (uint8_t)(SLOT_MOTOR + j));
	}
	for (uint8_t j = 0; j < JOINTS; j++)
		add_monitor(j);
	analogue_start();
	if (n)
		bus_start(list, n);
}

bool sensors_done(void) {
	if (!bus_done() || !analogue_done())
		return false;
	stale = 0;
	for (uint8_t k = 0; k < DEVICES; k++)
		if (!slots[k].ok)
			stale |= (uint16_t)(1U << k);
	return true;
}

/* An angle sensor's value; true when there is one. */
static bool angle(uint8_t where, uint8_t slot, uint16_t *value, uint32_t *time) {
	if (where == NONE)
		return false;
	if ((where & 0xF0) == PIN(0)) {
		*value = analogue_value(where & 0x0F);
		*time = analogue_time(slot);
		return true;
	}
	*value = slots[slot].value & 0x0FFF;
	if (slot < JOINTS)
		*time = slot_time[slot];
	return slots[slot].ok;
}

void sensors_reading(uint8_t j, struct reading *r) {
	uint32_t other;
	r->has = 0;
	if (angle(joint_sensor[j], j, &r->angle, &r->time))
		r->has |= HAS_ANGLE;
	else
		r->time = board_now();
	if (angle(motor_sensor[j], (uint8_t)(SLOT_MOTOR + j), &r->motor, &other))
		r->has |= HAS_MOTOR;
	if (monitor[j] != NONE && slots[SLOT_CURRENT + j].ok) {
		int16_t raw = (int16_t)slots[SLOT_CURRENT + j].value;
		r->current = (int16_t)((raw * shunt_factor[j] + 32768) >> 16);
		r->has |= HAS_CURRENT;
	}
	if ((SUPPLY_FROM & 0xF0) == PIN(0)) {
		r->supply = (uint16_t)((uint32_t)analogue_value(SUPPLY_FROM & 0x0F) * SUPPLY_PIN_FULL_MV >> 10);
		r->has |= HAS_SUPPLY;
	} else if (SUPPLY_FROM != NONE && slots[SLOT_SUPPLY].ok) {
		r->supply = (uint16_t)((slots[SLOT_SUPPLY].value >> 3) * 4);
		r->has |= HAS_SUPPLY;
	}
}

static uint8_t bits(uint8_t where) { return (where & 0xF0) == PIN(0) ? 10 : 12; }

struct caps board_caps(uint8_t j) {
	struct caps c;
	c.has = 0;
	if (joint_sensor[j] != NONE)
		c.has |= HAS_ANGLE;
	if (motor_sensor[j] != NONE)
		c.has |= HAS_MOTOR;
	if (monitor[j] != NONE)
		c.has |= HAS_CURRENT;
	if (SUPPLY_FROM != NONE)
		c.has |= HAS_SUPPLY;
	c.joint_bits = bits(joint_sensor[j]);
	c.motor_bits = bits(motor_sensor[j]);
	return c;
}
