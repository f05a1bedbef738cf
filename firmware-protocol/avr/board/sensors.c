/* One turn of the sensors as a list of exchanges on the bus. The list stays from turn to turn, but when a sensor is to be
   set up: one that failed, and one after the other for upkeep. */
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

/* Devices: joint angles, motor angles, monitors. One is set up anew each eighth turn, so that one that restarted
   unnoticed gives nothing wrong for long. */
#define MOTOR JOINTS
#define CURRENT (2 * JOINTS)
#define DEVICES (3 * JOINTS)
#define UPKEEP_TURNS 8

volatile uint16_t bus_stamps[JOINTS];
#define LONGEST (6 * JOINTS + 3 * MOTOR_SENSORS + 2) /* all set up anew */
static struct exchange list[LONGEST + 1];
static uint8_t n;
static struct exchange *place[DEVICES + 1]; /* of a device's reading in the list, the supply's last; or null */
static uint16_t listed;            /* devices that the list as it is sets up */
static uint16_t stale = 0xFFFF;    /* devices that failed: set up before they are read again */
static uint8_t upkeep, turns;
static uint8_t pointer; /* where in the list that of the supply's monitor is moved */
static bool at_bus;     /* where it stands before the list is worked off */
/* What the last turn gave: copied at its end, so that the next can begin at once. */
static uint16_t word[DEVICES + 1], stamp[JOINTS];
static bool fresh[DEVICES + 1];
static uint32_t taken_at;
static struct caps caps[JOINTS];
static int32_t shunt_factor[JOINTS]; /* mA per 10 uV, times 65536 */

static struct exchange *add(uint8_t address, uint8_t count, uint8_t skip) {
	struct exchange *e = &list[n++];
	e->address = (uint8_t)(address << 1);
	e->n = count;
	e->rest = (uint8_t)((skip + 1U) * sizeof *e);
	return e;
}

static void add_write(uint8_t address, uint8_t byte, uint8_t skip) { add(address, 1, skip)->b[0] = byte; }

static void add_read(uint8_t address, uint8_t device) {
	place[device] = &list[n];
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

/* The monitor that reads the supply too is left with its pointer on what it read last, and the next turn begins with
   that: one exchange less. */
static void add_monitor(uint8_t j) {
	uint8_t address = monitor[j], current = (uint8_t)(CURRENT + j);
	bool both = SUPPLY_FROM == j;
	if (address == NONE)
		return;
	if (listed >> current & 1) {
		add(address, 3, both ? 4 : 2)->b[0] = MONITOR_CONFIG;
		add_write(address, MONITOR_SHUNT, both ? 3 : 1);
		if (both)
			at_bus = false;
	}
	if (!both) {
		add_read(address, current);
		return;
	}
	add_read(address, at_bus ? DEVICES : current);
	pointer = n;
	add_write(address, at_bus ? MONITOR_SHUNT : MONITOR_BUS, 1);
	add_read(address, at_bus ? current : DEVICES);
}

/* Makes the list fit a pointer that stands at the other end. */
static void turn_round(void) {
#if SUPPLY_FROM < JOINTS
	struct exchange *k = place[DEVICES];
	place[DEVICES] = place[CURRENT + SUPPLY_FROM];
	place[CURRENT + SUPPLY_FROM] = k;
	list[pointer].b[0] = at_bus ? MONITOR_SHUNT : MONITOR_BUS;
#endif
}

/* All angles first, then currents and the supply, so that the angles of all joints belong to nearly one moment. */
static void make_list(void) {
	n = 0;
	for (uint8_t k = 0; k <= DEVICES; k++)
		place[k] = 0;
	for (uint8_t j = 0; j < JOINTS; j++) {
		add_angle(joint_sensor[j], j);
		add_angle(motor(j), (uint8_t)(MOTOR + j));
	}
	for (uint8_t j = 0; j < JOINTS; j++)
		add_monitor(j);
	if (n == 0) /* all on pins: a question nobody answers keeps the time */
		add_write(0x7F, 0, 0);
	list[n].address = 0;
}

void sensors_start(uint32_t at) {
	if (++turns >= UPKEEP_TURNS) {
		turns = 0;
		if (++upkeep >= DEVICES)
			upkeep = 0;
		stale |= (uint16_t)(1U << upkeep);
	}
	if (n == 0 || listed != stale) {
		listed = stale;
		make_list();
	} else {
		turn_round();
	}
	at_bus = !at_bus;
	analogue_start();
	bus_start(list, at);
}

bool sensors_done(void) { return bus_done() && analogue_done(); }

uint32_t sensors_take(void) {
	taken_at = board_now();
	stale = 0;
	for (uint8_t k = DEVICES + 1; k--;) {
		struct exchange *e = place[k];
		stale = (uint16_t)(stale << 1);
		fresh[k] = false;
		if (e && e->rest == 1) {
			e->rest = sizeof *e; /* for the next turn */
			fresh[k] = true;
			word[k] = (uint16_t)((uint16_t)e->b[0] << 8 | e->b[1]);
		} else if (e) {
			stale |= 1;
		}
	}
	for (uint8_t j = 0; j < JOINTS; j++)
		stamp[j] = bus_stamps[j];
#if SUPPLY_FROM < JOINTS
	if (!fresh[DEVICES]) /* its pointer may be anywhere */
		stale |= 1U << (CURRENT + SUPPLY_FROM);
	stale &= (uint16_t)~(1U << DEVICES);
#endif
	return bus_at;
}

/* When a stamp was taken, in us, seen from now. */
static uint32_t when(uint16_t s) { return taken_at - (uint16_t)((uint16_t)taken_at - s); }

static void read_angles(uint8_t j, struct reading *r) {
	uint8_t where = joint_sensor[j];
	if (on_pin(where)) {
		r->angle = analogue_value(where & 0x0F);
		r->time = when(analogue_stamp(j));
		r->has |= HAS_ANGLE;
	} else if (fresh[j]) {
		r->angle = word[j] & 0x0FFF;
		r->time = when(stamp[j]);
		r->has |= HAS_ANGLE;
	}
	where = motor(j);
	if (on_pin(where)) {
		r->motor = analogue_value(where & 0x0F);
		r->has |= HAS_MOTOR;
	} else if (fresh[MOTOR + j]) {
		r->motor = word[MOTOR + j] & 0x0FFF;
		r->has |= HAS_MOTOR;
	}
}

void sensors_reading(uint8_t j, struct reading *r) {
	r->has = 0;
	r->time = taken_at;
	read_angles(j, r);
	if (fresh[CURRENT + j]) {
		r->current = (int16_t)(((int16_t)word[CURRENT + j] * shunt_factor[j] + 32768) >> 16);
		r->has |= HAS_CURRENT;
	}
	if (on_pin(SUPPLY_FROM)) {
		r->supply = (uint16_t)((uint32_t)analogue_value(SUPPLY_FROM & 0x0F) * SUPPLY_PIN_FULL_MV >> 10);
		r->has |= HAS_SUPPLY;
	} else if (fresh[DEVICES]) {
		r->supply = (uint16_t)((word[DEVICES] >> 3) * 4);
		r->has |= HAS_SUPPLY;
	}
}

static uint16_t turn(uint8_t where) { return on_pin(where) ? 1024 : 4096; }

static void note_caps(uint8_t j) {
	struct caps *c = &caps[j];
	c->has = 0;
	if (joint_sensor[j] != NONE)
		c->has |= HAS_ANGLE;
	if (motor(j) != NONE)
		c->has |= HAS_MOTOR;
	if (monitor[j] != NONE)
		c->has |= HAS_CURRENT;
	if (SUPPLY_FROM != NONE)
		c->has |= HAS_SUPPLY;
	c->joint_turn = turn(joint_sensor[j]);
	c->motor_turn = turn(motor(j));
}

const struct caps *board_caps(uint8_t j) { return &caps[j]; }

void sensors_begin(void) {
	bus_begin();
	analogue_begin();
	for (uint8_t j = 0; j < JOINTS; j++) {
		note_caps(j);
		shunt_factor[j] = (655360L + shunt_mohm[j] / 2) / shunt_mohm[j];
	}
}
