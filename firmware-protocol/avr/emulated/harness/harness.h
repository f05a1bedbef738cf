/*
 * The emulated board: a process of its own that runs the stand's firmware and gives it servos,
 * joints and sensors. It is linked with libsimavr, which stands under the GNU General Public License,
 * version 3 or later; the sources in this folder are offered under the same terms:
 *
 * SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Only tests use it. Nothing of it, and nothing of the emulator, is linked into limbgauge or shipped
 * with it, and no binary of it is kept.
 *
 * Times are processor cycles since power-up unless a name says otherwise; they go on over a reset.
 */
#ifndef HARNESS_H
#define HARNESS_H

#include <stdint.h>
#include <stdio.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_io.h>

#define HZ 16000000u    /* the board's clock */
#define JOINTS 3
#define MUX_CHANNELS 8

#define CYCLES_PER_US (HZ / 1000000u)

/* main.c */
uint64_t now(void); /* cycles since power-up */
void fatal(const char *what, const char *detail);
/* takes over a register: the emulator's own module no longer sees it */
void own_register(avr_io_addr_t addr, avr_io_read_t read, avr_io_write_t write);
avr_io_t *find_module(const char *kind, char name);
extern avr_t *avr;

/* serial.c: the serial port of the board, byte by byte, and the pseudo-terminal it is joined to */
void serial_init(void);
void serial_reset(void);
/* moves bytes; true when the port was opened since the last call */
int serial_pump(void);
const char *serial_path(void);
void serial_repeat_beats(int on);
void serial_figures(FILE *f);

/* frames.c: what goes over the line, as far as the figures need it */
struct reader { /* of one direction */
    uint8_t raw[128], body[128];
    unsigned raw_len, body_len;
    int too_long;
};
/* takes one byte; true when it ends a whole frame, which then stands in body */
int reader_take(struct reader *r, uint8_t byte);
unsigned reader_samples(const struct reader *r); /* in a frame of samples, else 0 */
unsigned frame_beat(uint8_t *out, uint8_t count); /* a heartbeat, with its zeros */

/* bus.c: the two-wire bus with its timing */
enum bus_state { BUS_OK, BUS_DEAD, BUS_STUCK };
void bus_init(void);
void bus_reset(void);
void bus_watch(void); /* begins anew to time the turns of the sensors */
void bus_fault(int joint, enum bus_state s); /* joint -1: the whole bus */
void bus_figures(FILE *f);

/* sensors.c: what answers on the bus */
struct slave;
struct slave *slave_at(uint8_t address); /* NULL: nobody acknowledges */
void slave_begin(struct slave *s);
int slave_write(struct slave *s, uint8_t byte); /* true: acknowledged */
uint8_t slave_read(struct slave *s);
void sensors_init(void);
void sensors_dead(int joint, int dead);
int sensors_wire(const char *spec);
void sensors_convert(void);

/* timers.c: the timers that make the pulses */
void timers_init(void);
void timers_reset(void);
void timers_poll(void);

/* servo.c: what the servos' leads carry */
void servo_edge(int joint, int high, uint64_t at);
void servo_cut(int joint); /* ends a pulse before its time */
void servo_poll(void);
void servo_watch(void); /* the same for the evenness of pulses */
void servo_figures(FILE *f);

/* plant.c: what the pulses move */
void plant_init(void);
void plant_pulse(int joint, double us); /* 0: no pulses */
void plant_to(uint64_t cycle);
/* name is [joint:]key, value a number; true when there is such a key */
int plant_set(const char *name, double value);
void plant_help(FILE *f);
struct reading {
    double joint_deg, motor_deg, amps, volts;
    int magnet, motor_magnet;
};
struct reading plant_read(int joint);
double noise(double sigma);
void plant_figures(FILE *f);

/* figures.c */
void figures_read(const char *elf); /* its sizes; ends the program when it is no firmware */
void figures_init(void);
void figures_paint(void); /* fills the memory the stack may grow into */
void figures_watch(void); /* begins anew to sum cycles */
void figures_print(FILE *f);

#endif
