/* What a turn of the sensors gave a joint, in the units of the core; and what a joint has. */
#include "board_avr.h"
#include "shunt.h"

static const uint8_t joint_sensors[] FLASH = JOINT_SENSOR, motor_sensors[] FLASH = MOTOR_SENSOR, monitors[] FLASH = MONITOR;
static const uint16_t shunt_mohm[] FLASH = SHUNT_MOHM;
static const uint8_t motors = MOTOR_SENSORS;

static struct caps caps[JOINTS];
static struct shunt shunt[JOINTS];

static uint8_t joint_sensor(uint8_t j) { return FLASH_BYTE(joint_sensors[j]); }
static uint8_t motor_sensor(uint8_t j) { return j < motors ? FLASH_BYTE(motor_sensors[j]) : NONE; }
static uint8_t monitor(uint8_t j) { return FLASH_BYTE(monitors[j]); }

/* When a moment was noted, in us, seen from when the turn was begun. */
static uint32_t when(const struct turn *t, uint16_t moment) { return t->at + (uint16_t)(moment - (uint16_t)t->at); }

static inline uint8_t read_angles(const struct turn *t, uint8_t j, struct reading *r) {
	const uint16_t *w = t->word + 2 * j;
	uint8_t has = 0;
	if (ANALOGUE && on_pin(joint_sensor(j))) {
		r->angle = analogue_value(t, joint_sensor(j) & 0x0F);
		r->time = when(t, analogue_stamp(t, j));
		has |= HAS_ANGLE;
	} else if (w[0] != SILENT) {
		r->angle = w[0] & 0x0FFF;
		r->time = when(t, w[1]);
		has |= HAS_ANGLE;
	} else {
		r->time = t->at;
	}
	if (j >= motors)
		return has;
	if (ANALOGUE && on_pin(motor_sensor(j))) {
		r->motor = analogue_value(t, motor_sensor(j) & 0x0F);
		has |= HAS_MOTOR;
	} else if (t->word[WORD_OF(MOTOR + j)] != SILENT) {
		r->motor = t->word[WORD_OF(MOTOR + j)] & 0x0FFF;
		has |= HAS_MOTOR;
	}
	return has;
}

void readings_take(const struct turn *t, uint8_t j, struct reading *r) {
	uint16_t current = t->word[WORD_OF(CURRENT + j)], supply = t->word[SECOND];
	uint8_t has;
	OPAQUE(r);
	has = read_angles(t, j, r);
	if (t->bus_first && SUPPLY_FROM < JOINTS) {
		supply = t->word[WORD_OF(CURRENT + SUPPLY_FROM)];
		if (j == SUPPLY_FROM)
			current = t->word[SECOND];
	}
	if (current != SILENT) {
		r->current = shunt_milliamps(&shunt[j], (int16_t)current);
		has |= HAS_CURRENT;
	}
	if (on_pin(SUPPLY_FROM)) {
		r->supply = (uint16_t)((uint32_t)analogue_value(t, SUPPLY_FROM & 0x0F) * SUPPLY_PIN_FULL_MV >> 10);
		has |= HAS_SUPPLY;
	} else if (supply != SILENT) {
		r->supply = (uint16_t)((supply >> 3) * 4);
		has |= HAS_SUPPLY;
	}
	r->has = has;
}

static uint16_t turn(uint8_t where) { return on_pin(where) ? 1024 : 4096; }

static void note_caps(uint8_t j) {
	struct caps *c = &caps[j];
	c->has = 0;
	if (joint_sensor(j) != NONE)
		c->has |= HAS_ANGLE;
	if (motor_sensor(j) != NONE)
		c->has |= HAS_MOTOR;
	if (monitor(j) != NONE)
		c->has |= HAS_CURRENT;
	if (SUPPLY_FROM != NONE)
		c->has |= HAS_SUPPLY;
	c->joint_turn = turn(joint_sensor(j));
	c->motor_turn = turn(motor_sensor(j));
}

/* The preprocessor sees no arrays: a call that is left over fails the build. */
void wrong_shunt(void) __attribute__((error("each joint has a SHUNT_MOHM, 1 to 1000")));

static inline void check_shunts(void) {
	static const uint16_t mohm[] = SHUNT_MOHM;
	if (sizeof mohm / sizeof *mohm < JOINTS || mohm[0] < SHUNT_MOHM_MIN || mohm[0] > SHUNT_MOHM_MAX)
		wrong_shunt();
#if JOINTS > 1
	if (mohm[1] < SHUNT_MOHM_MIN || mohm[1] > SHUNT_MOHM_MAX)
		wrong_shunt();
#endif
#if JOINTS > 2
	if (mohm[2] < SHUNT_MOHM_MIN || mohm[2] > SHUNT_MOHM_MAX)
		wrong_shunt();
#endif
}

void readings_begin(void) {
	check_shunts();
	for (uint8_t j = 0; j < JOINTS; j++) {
		note_caps(j);
		shunt_of(&shunt[j], FLASH_WORD(shunt_mohm[j]));
	}
}

uint16_t board_current_end(uint8_t j) { return (uint16_t)shunt_milliamps(&shunt[j], SHUNT_END); }

const struct caps *board_caps(uint8_t j) { return &caps[j]; }
