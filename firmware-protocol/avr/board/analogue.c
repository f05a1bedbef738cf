/* Analogue pins, those that config.h names, one after the other by interrupt. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#if ANALOGUE

static const uint8_t joint_sensors[] FLASH = JOINT_SENSOR, motor_sensors[] FLASH = MOTOR_SENSOR;
static const uint8_t motors = MOTOR_SENSORS;

static uint8_t pins[PINS], used; /* in the order in which they are read, the joint sensors first */
static volatile uint8_t at;
static struct turn *into;

static void use(uint8_t where) {
	if ((where & 0xF0) == PIN(0))
		pins[used++] = where & 0x0F;
}

void analogue_begin(void) {
	for (uint8_t j = 0; j < JOINTS; j++)
		use(FLASH_BYTE(joint_sensors[j]));
	for (uint8_t j = 0; j < motors; j++)
		use(FLASH_BYTE(motor_sensors[j]));
	use(SUPPLY_FROM);
	at = used;
	if (used)
		ADCSRA = 1 << ADEN | 1 << ADIE | 1 << ADPS2 | 1 << ADPS1; /* 250 kHz: 52 us each */
}

static void convert(void) {
	uint8_t k = at;
	ADMUX = (uint8_t)(1 << REFS0 | pins[k]);
	ADCSRA |= 1 << ADSC;
	if (k < JOINTS)
		into->stamp[k] = (uint16_t)board_now();
}

ISR(ADC_vect) {
	into->pin[at] = ADC;
	if (++at < used)
		convert();
}

/* Interrupts are off. */
void analogue_go(struct turn *t) {
	into = t;
	at = 0;
	if (used)
		convert();
}

bool analogue_done(const struct turn *t) { return at >= used || into != t; }

static uint8_t place(uint8_t pin) {
	uint8_t k = 0;
	while (k + 1 < used && pins[k] != pin)
		k++;
	return k;
}

uint16_t analogue_value(const struct turn *t, uint8_t pin) { return t->pin[place(pin)]; }
uint16_t analogue_stamp(const struct turn *t, uint8_t joint) { return t->stamp[place(FLASH_BYTE(joint_sensors[joint]) & 0x0F)]; }

#else

void analogue_begin(void) {}
void analogue_go(struct turn *t) { (void)t; }
bool analogue_done(const struct turn *t) { return t != 0; }
uint16_t analogue_value(const struct turn *t, uint8_t pin) { return t ? pin : 0; }
uint16_t analogue_stamp(const struct turn *t, uint8_t joint) { return t ? joint : 0; }

#endif
