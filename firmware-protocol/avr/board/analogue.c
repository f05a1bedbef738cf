/* Analogue pins, those that config.h names, one after the other by interrupt. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#if ANALOGUE

static const uint8_t joint_sensor[] = JOINT_SENSOR;
static const uint8_t motor_sensor[] = MOTOR_SENSOR, motor_sensors = MOTOR_SENSORS;

#define PINS (2 * JOINTS + 1)
static uint8_t pins[PINS], used; /* in the order in which they are read, the joint sensors first */
static volatile uint8_t at;
static volatile uint16_t value[PINS];
static volatile uint16_t stamp[JOINTS];

static void use(uint8_t where) {
	if ((where & 0xF0) == PIN(0))
		pins[used++] = where & 0x0F;
}

void analogue_begin(void) {
	for (uint8_t j = 0; j < JOINTS; j++)
		use(joint_sensor[j]);
	for (uint8_t j = 0; j < motor_sensors; j++)
		use(motor_sensor[j]);
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
		stamp[k] = (uint16_t)board_now();
}

ISR(ADC_vect) {
	value[at] = ADC;
	if (++at < used)
		convert();
}

void analogue_start(void) {
	if (used == 0)
		return;
	cli();
	at = 0;
	convert();
	sei();
}

bool analogue_done(void) { return at >= used; }

static uint8_t place(uint8_t pin) {
	uint8_t k = 0;
	while (k + 1 < used && pins[k] != pin)
		k++;
	return k;
}

uint16_t analogue_value(uint8_t pin) { return value[place(pin)]; }
uint16_t analogue_stamp(uint8_t joint) { return stamp[place(joint_sensor[joint] & 0x0F)]; }

#else

void analogue_begin(void) {}
void analogue_start(void) {}
bool analogue_done(void) { return true; }
uint16_t analogue_value(uint8_t pin) { return pin; }
uint16_t analogue_stamp(uint8_t joint) { return joint; }

#endif
