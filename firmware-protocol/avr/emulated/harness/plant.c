/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * The joints. Each is three bodies in a row, as the virtual stand's: servo, horn with the motor-side pulley, joint
 * with a hanging load; gear play between the first two, a belt of two spans and a part that bends between the
 * others. Inside, angles are rad, torques N·m.
 */
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "harness.h"

#define RAD (M_PI / 180)
#define GRAVITY 9.80665 /* m/s^2, CGPM 1901 */
#define STEP_US 20
#define DT (STEP_US * 1e-6)

/* friction: one elastic bristle that slides when it is bent enough (Prandtl's element) */
#define BRISTLE (0.02 * RAD)
struct bristle {
    double z;
};

struct joint {
    /* settings, in the units of their names */
    double rated_v, stall_nm, no_load_deg_s, stall_a, idle_a;
    double travel_deg, pulse_min_us, pulse_max_us, deadband_us, full_duty_deg, damping_s;
    double servo_inertia, gear_friction_nm, play_deg, mesh_deg_per_nm;
    double belt, radius_mm, tension_n, slack_deg, span_deg_per_nm; /* belt 0: a direct joint */
    double part_deg_per_nm, part_play_deg;
    double mass_kg, lever_m, inertia, down_deg, stop_deg, friction_nm, viscous;
    double noise_deg, wave_deg, noise_a, noise_v;
    double zero_deg, back; /* how the joint's angle sensor sits */
    double magnet, motor_magnet; /* 1: good, 2: too weak, 3: too strong, 4: none */
    double frozen, extra_a, push_nm; /* faults: the joint's sensor stands, more current, a hand */

    /* state */
    double phi, w_phi, h, w_h, theta, w;
    struct bristle gears, bearing;
    double pulse_us, amps, shunt, seen_deg;
};

static struct joint joint[JOINTS];
static struct {
    double open_v, ohm, farad;
    double volts;
} supply = {6.2, 0.12, 470e-6, 6.2};
static uint64_t steps;

static const struct key {
    const char *name;
    size_t at;
    double value;
    const char *meaning;
} keys[] = {
#define KEY(field, value, meaning) {#field, offsetof(struct joint, field), value, meaning}
    KEY(rated_v, 6, "V, at which the servo's next four hold"),
    KEY(stall_nm, 1.4, "N·m"),
    KEY(no_load_deg_s, 420, "deg/s"),
    KEY(stall_a, 2.4, "A"),
    KEY(idle_a, 0.12, "A"),
    KEY(travel_deg, 180, "deg between the two pulses"),
    KEY(pulse_min_us, 500, "us"),
    KEY(pulse_max_us, 2500, "us"),
    KEY(deadband_us, 3, "us, full width"),
    KEY(full_duty_deg, 2, "deg of error for the whole voltage"),
    KEY(damping_s, 0.006, "s, share of the speed in the error"),
    KEY(servo_inertia, 2e-3, "kg·m2, at the output"),
    KEY(gear_friction_nm, 0.010, "N·m"),
    KEY(play_deg, 0.15, "deg, gear play, full width"),
    KEY(mesh_deg_per_nm, 0.25, "deg/N·m"),
    KEY(belt, 1, "1: a belt; 0: a direct joint"),
    KEY(radius_mm, 40 / (2 * M_PI), "mm, of both pulleys"),
    KEY(tension_n, 52.5, "N in each span"),
    KEY(slack_deg, 0, "deg, dead zone of a belt without tension, full width"),
    KEY(span_deg_per_nm, 1.0, "deg/N·m while both spans are taut"),
    KEY(part_deg_per_nm, 1.0, "deg/N·m"),
    KEY(part_play_deg, 0.04, "deg, full width"),
    KEY(mass_kg, 0.42, "kg"),
    KEY(lever_m, 0.11, "m"),
    KEY(inertia, 0.0060, "kg·m2"),
    KEY(down_deg, 0, "deg, where the load hangs straight down"),
    KEY(stop_deg, 110, "deg, end stops of the stand, both ways"),
    KEY(friction_nm, 0.008, "N·m, bearing"),
    KEY(viscous, 0.002, "N·m·s/rad"),
    KEY(noise_deg, 0.03, "deg, of one angle reading"),
    KEY(wave_deg, 0.05, "deg, once a turn, of an off-centre magnet"),
    KEY(noise_a, 0.012, "A"),
    KEY(noise_v, 0.004, "V"),
    KEY(zero_deg, 0, "deg that the joint's angle sensor reads where the joint is at 0"),
    KEY(back, 0, "1: it counts up where the joint goes down"),
    KEY(magnet, 1, "of the joint's angle sensor; 1: good, 2: too weak, 3: too strong, 4: none"),
    KEY(motor_magnet, 1, "the same for the motor side"),
    KEY(frozen, 0, "1: the joint's angle sensor keeps its last reading"),
    KEY(extra_a, 0, "A that something else draws through the joint's shunt"),
    KEY(push_nm, 0, "N·m of a hand on the joint"),
};
#define KEYS (sizeof keys / sizeof *keys)

static double *field(struct joint *j, const struct key *k)
{
    return (double *)(void *)((char *)j + k->at);
}

double noise(double sigma)
{
    static uint64_t s = 88172645463325252ull; /* xorshift, G. Marsaglia, J. Stat. Softw. 8 (2003) */
    double sum = 0;
    for (int i = 0; i < 12; i++) { /* twelve evens make a good enough normal one */
        s ^= s << 13;
        s ^= s >> 7;
        s ^= s << 17;
        sum += (double)(s >> 11) / 9007199254740992.0;
    }
    return sigma * (sum - 6);
}

void plant_init(void)
{
    for (int j = 0; j < JOINTS; j++)
        for (size_t k = 0; k < KEYS; k++)
            *field(&joint[j], &keys[k]) = keys[k].value;
}

int plant_set(const char *name, double value)
{
    int from = 0, to = JOINTS;
    if (name[0] >= '0' && name[0] < '0' + JOINTS && name[1] == ':') {
        from = name[0] - '0';
        to = from + 1;
        name += 2;
    }
    if (!strcmp(name, "supply_v"))
        return supply.open_v = value, 1;
    if (!strcmp(name, "supply_ohm"))
        return supply.ohm = value, 1;
    for (size_t k = 0; k < KEYS; k++)
        if (!strcmp(name, keys[k].name)) {
            for (int j = from; j < to; j++)
                *field(&joint[j], &keys[k]) = value;
            return 1;
        }
    return 0;
}

void plant_help(FILE *f)
{
    fprintf(f, "  %-18s %8g  %s\n  %-18s %8g  %s\n", "supply_v", supply.open_v, "V, of the open supply", "supply_ohm", supply.ohm, "ohm, of supply and leads");
    for (size_t k = 0; k < KEYS; k++)
        fprintf(f, "  %-18s %8.4g  %s\n", keys[k].name, keys[k].value, keys[k].meaning);
}

void plant_pulse(int j, double us)
{
    plant_to(now());
    joint[j].pulse_us = us;
}

static double rub(struct bristle *b, double coulomb, double inertia, double w)
{
    double k = coulomb / BRISTLE, f = k * b->z + 0.6 * sqrt(k * inertia) * w;
    f = f > coulomb ? coulomb : f < -coulomb ? -coulomb : f;
    b->z += DT * w;
    b->z = b->z > BRISTLE ? BRISTLE : b->z < -BRISTLE ? -BRISTLE : b->z;
    return f;
}

/* elastic contact beyond half a gap; damping never makes it pull */
static double contact(double d, double v, double gap, double k, double c)
{
    double e = d > gap ? k * (d - gap) : d < -gap ? k * (d + gap) : 0;
    double damp = c * v;
    return fabs(damp) > fabs(e) ? (damp * e > 0 ? 2 * e : 0) : e + damp;
}

/* The servo: lines of a permanent-magnet motor, T = kt·I, V = R·I + ke·w, and a controller that steers to the
 * pulse with a dead band. */
static double motor(struct joint *j)
{
    double stall = j->stall_a - j->idle_a, ohm = j->rated_v / stall;
    double kt = (j->stall_nm + j->gear_friction_nm) / stall;
    double ke = (j->rated_v - ohm * j->gear_friction_nm / kt) / (j->no_load_deg_s * RAD);
    j->amps = j->idle_a;
    if (j->pulse_us <= 0)
        return 0;
    double half = j->travel_deg / 2, span = j->pulse_max_us - j->pulse_min_us;
    double target = (j->pulse_us - (j->pulse_min_us + j->pulse_max_us) / 2) * j->travel_deg / span;
    target = target > half ? half : target < -half ? -half : target;
    double dead = j->deadband_us / 2 * j->travel_deg / span * RAD, e = target * RAD - j->phi, duty = 0;
    if (e > dead)
        duty = (e - dead - j->damping_s * j->w_phi) / (j->full_duty_deg * RAD);
    else if (e < -dead)
        duty = (e + dead - j->damping_s * j->w_phi) / (j->full_duty_deg * RAD);
    duty = duty > 1 ? 1 : duty < -1 ? -1 : duty;
    double amps = (duty * supply.volts - ke * j->w_phi) / ohm;
    j->amps = j->idle_a + fabs(amps);
    return kt * amps;
}

/* Two spans and the part. While both spans are taut their stiffness adds; at the torque 2·T0·r the loose one
 * carries nothing, and half the stiffness is left (statics of a two-span belt). */
static double transmission(struct joint *j, double d, double v)
{
    double part = j->part_deg_per_nm * RAD, span = j->belt > 0 ? j->span_deg_per_nm * RAD : 0;
    double taut = 1 / (part + span), one = 1 / (part + 2 * span), gap = j->part_play_deg / 2 * RAD;
    double knee = 2 * j->tension_n * j->radius_mm / 1000 * (part + span);
    if (j->belt > 0 && j->tension_n <= 0)
        gap += j->slack_deg / 2 * RAD;
    double a = fabs(d) - gap;
    if (a <= 0)
        return 0;
    double m = taut * a;
    if (j->belt > 0) { /* the knee is rounded over a tenth of itself */
        double width = 0.1 * knee, past = a - knee;
        m += (taut - one) / 2 * (sqrt(knee * knee + width * width) - knee - past - sqrt(past * past + width * width));
    }
    double damp = 2 * 0.06 * sqrt(taut * j->inertia) * v;
    m = d < 0 ? -m : m;
    return fabs(damp) > fabs(m) ? (damp * m > 0 ? 2 * m : 0) : m + damp;
}

static double step(struct joint *j)
{
    const double horn = 3e-5; /* kg·m2 */
    double drive = motor(j), mesh_k = 1 / (j->mesh_deg_per_nm * RAD);
    double mesh = contact(j->phi - j->h, j->w_phi - j->w_h, j->play_deg / 2 * RAD, mesh_k, 0.2 * sqrt(mesh_k * horn));
    double m = transmission(j, j->h - j->theta, j->w_h - j->w);
    double load = j->push_nm - j->mass_kg * GRAVITY * j->lever_m * sin(j->theta - j->down_deg * RAD);
    load -= contact(j->theta, j->w, j->stop_deg * RAD, 120, 0.4);

    j->w_phi += DT / j->servo_inertia * (drive - mesh - rub(&j->gears, j->gear_friction_nm, j->servo_inertia, j->w_phi));
    j->w_h += DT / horn * (mesh - m);
    j->w += DT / j->inertia * (m + load - j->viscous * j->w - rub(&j->bearing, j->friction_nm, j->inertia, j->w));
    j->phi += DT * j->w_phi;
    j->h += DT * j->w_h;
    j->theta += DT * j->w;
    j->shunt += (j->amps + j->extra_a - j->shunt) * DT / 0.5e-3;
    return j->amps + j->extra_a;
}

void plant_to(uint64_t cycle)
{
    for (; steps * STEP_US * CYCLES_PER_US < cycle; steps++) {
        double amps = 0;
        for (int j = 0; j < JOINTS; j++)
            amps += step(&joint[j]);
        double a = DT / supply.farad; /* implicit, so that a small capacitor needs no small step */
        supply.volts = (supply.volts + a * (supply.open_v / supply.ohm - amps)) / (1 + a / supply.ohm);
        if (supply.volts < 0)
            supply.volts = 0;
        sensors_convert();
    }
}

struct reading plant_read(int n)
{
    struct joint *j = &joint[n];
    double deg = j->theta / RAD, motor = j->h / RAD;
    struct reading r;
    if (!j->frozen)
        j->seen_deg = deg + j->wave_deg * sin(j->theta + 1.2) + noise(j->noise_deg);
    r.joint_deg = j->zero_deg + (j->back ? -j->seen_deg : j->seen_deg);
    r.motor_deg = motor + j->wave_deg * sin(j->h - 0.7) + noise(j->noise_deg);
    r.amps = j->shunt + noise(j->noise_a);
    r.volts = supply.volts + noise(j->noise_v);
    r.magnet = (int)j->magnet;
    r.motor_magnet = (int)j->motor_magnet;
    return r;
}

void plant_figures(FILE *f)
{
    fprintf(f, ",\"supply_v\":%.3f,\"joints\":[", supply.volts);
    for (int n = 0; n < JOINTS; n++)
        fprintf(f, "%s{\"joint_deg\":%.3f,\"motor_deg\":%.3f,\"amps\":%.3f}", n ? "," : "", joint[n].theta / RAD, joint[n].h / RAD, joint[n].shunt);
    fprintf(f, "]");
}
