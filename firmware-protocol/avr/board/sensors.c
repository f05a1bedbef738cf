/* What is on the bus, as one list of exchanges that is worked off each turn. It is made once. Exchanges that set a device up
   stand in it too, each behind a gate that is shut but in turns that need it. */
#include "board.h"
#include "board_avr.h"
#include "config.h"
#include "stand.h"

static const uint8_t joint_sensors[] FLASH = JOINT_SENSOR, motor_sensors[] FLASH = MOTOR_SENSOR, monitors[] FLASH = MONITOR;
static const uint8_t motors = MOTOR_SENSORS;

/* Magnetic angle sensor: 12 bits of raw angle in registers 0x0C and 0x0D; its pointer stays there. */
#define ENCODER 0x36
#define ENCODER_ANGLE 0x0C
/* Before that its status: a magnet is there, too weak, too strong (class values of the data sheets of such sensors). */
#define ENCODER_STATUS 0x0B
#define STATUS_THERE 0x20
#define STATUS_WEAK 0x10
#define STATUS_STRONG 0x08
enum magnet { MAGNET_GOOD = 1, MAGNET_WEAK, MAGNET_STRONG, MAGNET_NONE }; /* as in status */
/* Shunt monitor: configuration, shunt voltage (10 uV) and bus voltage (4 mV, from bit 3 on). */
#define MONITOR_CONFIG 0
#define MONITOR_SHUNT 1
#define MONITOR_BUS 2

/* The pointer of one device is written anew each eighth turn, so that one that restarted unnoticed gives nothing wrong for long. */
#define UPKEEP_TURNS 8
#define LEISURE_US 2000 /* between turns in which all devices can be set up */

#define STEP ((uint8_t)sizeof(struct exchange))
#define LONGEST (3 * (2 * JOINTS + MOTOR_SENSORS) + (SUPPLY_FROM < JOINTS ? 2 : 0))
static struct exchange list[LONGEST + 2]; /* the first is none: its next is where the list begins */
static uint8_t n;
static uint8_t gate[DEVICES]; /* where in the list; NONE: the device is not on the bus */
static struct exchange *pointer[2]; /* what sets and what moves the pointer of the supply's monitor; or null */
static uint16_t stale;        /* devices that failed: what they say counts again once they were set up */
static uint8_t upkeep, turns;
static uint8_t magnets[JOINTS];

static struct exchange *add(uint8_t address, uint8_t byte, uint8_t rest) {
	struct exchange *e = &list[++n];
	e->address = (uint8_t)(address << 1);
	e->n = 1;
	e->b = byte;
	e->rest = (uint8_t)(rest * STEP);
	e->next = STEP;
	return e;
}

static void add_read(uint8_t address, uint8_t word, bool moment) {
	struct exchange *e = add(address, (uint8_t)(2 * word), 0);
	e->address |= EXCHANGE_READ;
	e->n = moment;
}

/* Behind the last exchange comes a gate that leaves some out. */
static void add_gate(uint8_t device, uint8_t some) {
	gate[device] = n;
	list[n].next = (uint8_t)((some + 1U) * STEP);
	stale |= (uint16_t)(1U << device);
}

static uint8_t joint_sensor(uint8_t j) { return FLASH_BYTE(joint_sensors[j]); }
static uint8_t motor_sensor(uint8_t j) { return j < motors ? FLASH_BYTE(motor_sensors[j]) : NONE; }
static uint8_t monitor(uint8_t j) { return FLASH_BYTE(monitors[j]); }

static void add_angle(uint8_t where, uint8_t device) {
	gate[device] = NONE;
	if (where == NONE || on_pin(where))
		return;
	if (where != BUS)
		add(MULTIPLEXER, (uint8_t)(1 << where), 2);
	add_gate(device, 1);
	add(ENCODER, ENCODER_ANGLE, 1);
	add_read(ENCODER, (uint8_t)WORD_OF(device), device < JOINTS);
}

/* The monitor that reads the supply too is left with its pointer on what it read last, and the next turn begins with
   that: one exchange less. */
static void add_monitor(uint8_t j) {
	uint8_t address = monitor(j), device = (uint8_t)(CURRENT + j);
	gate[device] = NONE;
	if (address == NONE)
		return;
	add_gate(device, 2);
	add(address, MONITOR_CONFIG, 2)->n = 3;
	pointer[0] = add(address, MONITOR_SHUNT, 1);
	add_read(address, (uint8_t)WORD_OF(device), false);
	if (SUPPLY_FROM != j)
		return;
	pointer[1] = add(address, MONITOR_BUS, 1);
	add_read(address, SECOND, false);
}

/* All angles first, then currents and the supply, so that the angles of all joints belong to nearly one moment. */
static void make_list(void) {
	list[0].next = STEP;
	for (uint8_t j = 0; j < JOINTS; j++) {
		add_angle(joint_sensor(j), j);
		if (j < motors)
			add_angle(motor_sensor(j), (uint8_t)(MOTOR + j));
	}
	/* The supply's last, as pointer belongs to it in the end. */
	for (uint8_t j = 0; j < JOINTS; j++)
		if (j != SUPPLY_FROM)
			add_monitor(j);
	pointer[0] = pointer[1] = 0;
	if (SUPPLY_FROM < JOINTS)
		add_monitor(SUPPLY_FROM);
	if (n == 0) /* all on pins: a question nobody answers keeps the time */
		add(0x7F, 0, 0);
}

/* Of what failed all is set up when there is time, else one device after the other. */
static uint16_t repair(void) {
	static uint8_t at;
	uint16_t bit;
	if (stale == 0 || stand.period >= LEISURE_US)
		return stale;
	do {
		if (++at >= DEVICES)
			at = 0;
		bit = (uint16_t)(1U << at);
	} while (!(stale & bit));
	return bit;
}

/* Each eighth turn the pointer of one more device is set anew, without its setting where it has one: that is long, and a monitor
   without it is slower, not wrong. While nobody wants its angle, a sensor whose turn it is tells of its magnet instead, and has
   its pointer back in the turn behind. */
void sensors_plan(struct turn *t) {
	static uint16_t looked;
	for (uint8_t k = 0; k < WORDS; k++)
		t->word[k] = SILENT;
	t->touched = t->set_up = (uint16_t)(repair() | looked);
	t->magnet = NONE;
	looked = 0;
	if (++turns < UPKEEP_TURNS)
		return;
	turns = 0;
	if (++upkeep >= DEVICES)
		upkeep = 0;
	if (gate[upkeep] == NONE || t->touched)
		return;
	t->touched = (uint16_t)(1U << upkeep);
	if (upkeep < CURRENT && stand.hz == 0 && stand.state != ARMED) {
		t->magnet = upkeep;
		looked = t->touched;
	}
}

static void gates(uint16_t devices, const struct turn *t) {
	for (uint8_t device = 0; devices; device++, devices >>= 1) {
		uint8_t some = device < CURRENT ? 1 : 2;
		if (!(devices & 1))
			continue;
		if (t)
			some = device < CURRENT || (t->set_up >> device & 1) ? 0 : 1;
		list[gate[device]].next = (uint8_t)((some + 1U) * STEP);
	}
}

/* What sets a sensor's pointer stands behind its gate. */
static void point(uint8_t device, uint8_t at) {
	if (device != NONE)
		list[gate[device] + 1].b = at;
}

const struct exchange *sensors_go(struct turn *t) {
	static uint8_t aside = NONE; /* the device whose pointer was set elsewhere by the turn before */
	static uint16_t opened;
	static bool bus_first;
	if (opened)
		gates(opened, 0);
	opened = t->touched;
	if (opened) {
		gates(opened, t);
		point(aside, ENCODER_ANGLE);
		aside = t->magnet;
		point(aside, ENCODER_STATUS);
	}
	t->bus_first = bus_first;
	if (pointer[1]) {
		pointer[0]->b = bus_first ? MONITOR_BUS : MONITOR_SHUNT;
		pointer[1]->b = bus_first ? MONITOR_SHUNT : MONITOR_BUS;
		bus_first = !bus_first;
	}
	return (const struct exchange *)((const uint8_t *)list + list[0].next);
}

/* A device that failed may have lost its pointer, and what it says from then on may be something else. */
static void doubt(struct turn *t, uint16_t silent) {
	uint16_t bit = 1;
	for (uint8_t device = 0; device < DEVICES; device++, bit = (uint16_t)(bit << 1)) {
		if (silent & bit) {
			if (gate[device] != NONE)
				stale |= bit;
		} else if (t->set_up & bit) {
			stale &= (uint16_t)~bit;
		} else if (stale & bit) {
			t->word[WORD_OF(device)] = SILENT;
#if SUPPLY_FROM < JOINTS
			if (device == CURRENT + SUPPLY_FROM)
				t->word[SECOND] = SILENT;
#endif
		}
	}
}

/* The word is no angle: as if there were none. */
static void take_magnet(struct turn *t) {
	uint8_t k = t->magnet, joint = k < JOINTS ? k : (uint8_t)(k - JOINTS), shift = k < JOINTS ? 2 : 5, said = MAGNET_GOOD;
	uint16_t *w = &t->word[WORD_OF(k)];
	uint8_t status = (uint8_t)(*w >> 8);
	if (*w == SILENT)
		return;
	*w = SILENT;
	if (!(status & STATUS_THERE))
		said = MAGNET_NONE;
	else if (status & STATUS_WEAK)
		said = MAGNET_WEAK;
	else if (status & STATUS_STRONG)
		said = MAGNET_STRONG;
	magnets[joint] = (uint8_t)((magnets[joint] & ~(7 << shift)) | said << shift);
}

uint8_t board_magnets(uint8_t joint) { return magnets[joint]; }

void sensors_take(struct turn *t) {
	uint16_t silent = 0;
	if (t->magnet != NONE)
		take_magnet(t);
	for (uint8_t device = DEVICES; device--;) {
		silent = (uint16_t)(silent << 1);
		if (t->word[WORD_OF(device)] == SILENT)
			silent |= 1;
	}
#if SUPPLY_FROM < JOINTS
	if (t->word[SECOND] == SILENT)
		silent |= 1U << (CURRENT + SUPPLY_FROM);
#endif
	if (silent | stale)
		doubt(t, silent);
}

void sensors_begin(void) {
	bus_begin();
	analogue_begin();
	make_list();
	readings_begin();
}
