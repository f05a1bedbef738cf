/* What this stand is: how many joints, what is wired where, what it needs. The one file to edit. */
#ifndef CONFIG_H
#define CONFIG_H

#include "core/limits.h"

#define FIRMWARE_NAME "limbgauge-avr" /* at most 16 characters */
#define FIRMWARE_MAJOR 1
#define FIRMWARE_MINOR 1
#define FIRMWARE_PATCH 0

/* Joints, 1 to 3. Their servos are on OC1A (PB1), OC1B (PB2) and OC2A (PB3), in this order. */
#ifndef JOINTS
#define JOINTS 3
#endif

/* Servo pulses per second, 50 to 333, where the host asks for no rate. Any hobby servo bears 50; many digital ones bear 250 or 333, which follow a
   ramp in finer steps. A servo made for 50 overheats at more: see its data sheet. */
#ifndef SERVO_FRAME_HZ
#define SERVO_FRAME_HZ 50
#endif

/* Below this the servos can not hold and the stand trips; mV. */
#ifndef SUPPLY_MIN_MV
#define SUPPLY_MIN_MV 4500
#endif

#ifndef BAUD
#define BAUD 500000UL /* 250000, 500000 and 1000000 are exact at 16 MHz */
#endif

/* Where a sensor is: a channel of the bus multiplexer (0 to 7), straight on the bus, on an analogue pin, or nowhere. */
#define MUX(channel) (channel)
#define BUS 0x10
#define PIN(adc) (0x20 | (adc)) /* ADC0 to ADC3, ADC6, ADC7: the bus needs ADC4 and ADC5 */
#define NONE 0xFF

/* Joint side angles: 12 bit magnetic sensors at address 0x36, or their analogue output, 0 to 5 V for one turn. Each
   sensor with that address needs a channel of its own, or is the only one straight on the bus. */
#ifndef JOINT_SENSOR
#define JOINT_SENSOR {MUX(0), MUX(1), MUX(2)}
#endif
/* Motor side angles, the same kinds, of the first MOTOR_SENSORS joints. */
#ifndef MOTOR_SENSORS
#define MOTOR_SENSORS 0
#endif
#ifndef MOTOR_SENSOR
#define MOTOR_SENSOR {MUX(3), MUX(4), MUX(5)}
#endif

/* 1 when a PIN is named here: it costs memory. */
#ifndef ANALOGUE
#define ANALOGUE 0
#endif

/* Moves a joint's queue holds, the running one included, 2 at least; 15 bytes of memory each, so as many as there is room for. */
#ifndef QUEUE
#if JOINTS < 3
#define QUEUE 8
#elif MOTOR_SENSORS + 2 * ANALOGUE < 2
#define QUEUE 4
#elif MOTOR_SENSORS + 2 * ANALOGUE < 4
#define QUEUE 3
#else
#define QUEUE 2
#endif
#endif

/* Shunt monitors, by address; NONE where there is none. */
#ifndef MONITOR
#define MONITOR {0x40, 0x41, 0x42}
#endif
/* Their shunts, mOhm, 1 to 1000. A monitor reads to 320 mV: 3.2 A at 100 mOhm; what is sent ends at 32.7 A, so below 10 mOhm nothing is
   gained. */
#ifndef SHUNT_MOHM
#define SHUNT_MOHM {100, 100, 100}
#endif
/* The joints share one supply. It is read by the monitor of this joint, or on an analogue pin through a divider. */
#ifndef SUPPLY_FROM
#define SUPPLY_FROM 0 /* number of a joint with a monitor, or PIN(adc) */
#endif
#define SUPPLY_PIN_FULL_MV 10000 /* supply that puts 5 V on that pin */

/* A stop switch between this pin of port D and ground trips the stand; NONE: there is none. */
#ifndef BUTTON_PIN
#define BUTTON_PIN NONE
#endif

/* The longest turn of the sensors on the bus at 400 kHz, us, all angle sensors behind the multiplexer: each takes 148, each current
   84, the supply 143, and 70 go to setting a pointer anew. Measured with everything else at work, by the tests. */
#define BUS_TURN_US (148 * (JOINTS + MOTOR_SENSORS) + 84 * JOINTS + 143 + 70)

/* The greatest sample rate with all joints. Turns begin at the ticks of a clock of 1 ms, so rates that divide 1000 come in
   even steps. */
#ifndef MAX_HZ
#if BUS_TURN_US < 980
#define MAX_HZ 1000
#else
#define MAX_HZ 500
#endif
#endif

#if JOINTS < 1 || JOINTS > 3
#error "JOINTS is 1, 2 or 3"
#endif
#if SERVO_FRAME_HZ < FRAME_HZ_MIN || SERVO_FRAME_HZ > FRAME_HZ_MAX
#error "SERVO_FRAME_HZ is 50 to 333"
#endif
#endif
