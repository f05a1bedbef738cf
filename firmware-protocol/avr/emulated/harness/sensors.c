/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * What answers on the bus: a switch of eight branches, an angle sensor on a branch for each joint's side, a
 * current and voltage monitor for each joint. Registers as their data sheets have them, as far as a firmware
 * could use them here.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "harness.h"

enum { SWITCH = 0x70, ANGLE = 0x36, MONITOR = 0x40 };

enum kind { IS_SWITCH, IS_ANGLE, IS_MONITOR };
struct slave {
    enum kind kind;
    int joint, motor_side;
    uint8_t pointer;
    unsigned index; /* of the byte in this transfer */
    int dead;       /* an angle sensor that does not answer */
    int magnet;             /* of an angle sensor, as the plant has it */
    uint16_t config, calibration, shunt, bus, latch; /* of a monitor; latch: while a word is read */
    uint64_t converted;
};

static struct slave bus_switch = {.kind = IS_SWITCH};
static struct slave angle[MUX_CHANNELS];
static struct slave monitor[JOINTS];
static uint8_t branches;
static double shunt_ohm = 0.1;

/* The branch each side's angle sensor hangs on; -1: there is none. */
int sensors_wire(const char *spec)
{
    for (int b = 0; b < MUX_CHANNELS; b++)
        angle[b].joint = -1;
    int b = 0;
    for (const char *p = spec; *p && b < MUX_CHANNELS; b++) {
        if (*p == 'j' || *p == 'm') {
            angle[b].motor_side = *p == 'm';
            angle[b].joint = p[1] - '0';
            if (angle[b].joint < 0 || angle[b].joint >= JOINTS)
                return 0;
            p += 2;
        } else if (*p == '-') {
            p++;
        } else {
            return 0;
        }
        if (*p == ',')
            p++;
    }
    return 1;
}

void sensors_init(void)
{
    for (int b = 0; b < MUX_CHANNELS; b++)
        angle[b].kind = IS_ANGLE;
    for (int j = 0; j < JOINTS; j++)
        monitor[j] = (struct slave){.kind = IS_MONITOR, .joint = j, .config = 0x399F};
}

void sensors_dead(int joint, int dead)
{
    for (int b = 0; b < MUX_CHANNELS; b++)
        if (angle[b].joint == joint)
            angle[b].dead = dead;
}

struct slave *slave_at(uint8_t address)
{
    if (address == SWITCH)
        return &bus_switch;
    if (address >= MONITOR && address < MONITOR + JOINTS)
        return &monitor[address - MONITOR];
    if (address == ANGLE)
        for (int b = 0; b < MUX_CHANNELS; b++)
            if (branches >> b & 1 && angle[b].joint >= 0 && !angle[b].dead)
                return &angle[b];
    return NULL;
}

void slave_begin(struct slave *s)
{
    s->index = 0;
}

int slave_write(struct slave *s, uint8_t byte)
{
    unsigned i = s->index++;
    if (s->kind == IS_SWITCH) {
        branches = byte;
    } else if (i == 0) {
        s->pointer = byte;
    } else if (s->kind == IS_MONITOR) {
        s->latch = (uint16_t)(i == 1 ? byte << 8 : (s->latch & 0xFF00) | byte);
        if (i == 2 && s->pointer == 0)
            s->config = s->latch & 0x8000 ? 0x399F : s->latch;
        if (i == 2 && s->pointer == 5)
            s->calibration = s->latch & 0xFFFE;
    }
    return 1;
}

/* An angle sensor: 12 bits a turn. While angle or raw angle is read the pointer goes back to the high byte. */
static uint8_t read_angle(struct slave *s)
{
    if (s->index++ == 0) {
        plant_to(now());
        struct reading r = plant_read(s->joint);
        double deg = s->motor_side ? r.motor_deg : r.joint_deg;
        s->latch = (uint16_t)((int)lround(deg * 4096 / 360) & 0xFFF);
        s->magnet = s->motor_side ? r.motor_magnet : r.magnet;
    }
    uint8_t p = s->pointer;
    /* 0x20: a magnet is there; 0x10: too weak, the gain is at its greatest; 0x08: too strong */
    static const uint8_t status[5] = {0, 0x20, 0x30, 0x28, 0x10};
    switch (p) {
    case 0x0C:
    case 0x0E:
        s->pointer++;
        return (uint8_t)(s->latch >> 8);
    case 0x0D:
    case 0x0F:
        s->pointer--;
        return (uint8_t)s->latch;
    case 0x0B:
        s->pointer++;
        return status[s->magnet >= 1 && s->magnet <= 4 ? s->magnet : 1];
    case 0x1A:
        return 64; /* gain */
    case 0x1B:
        s->pointer++;
        return 0x05; /* magnitude */
    case 0x1C:
        s->pointer--;
        return 0x00;
    }
    s->pointer++;
    return 0;
}

static uint8_t read_monitor(struct slave *s)
{
    if (s->index % 2 == 0) {
        int32_t power, amps = (int32_t)(int16_t)s->shunt * s->calibration / 4096;
        power = amps * (s->bus >> 3) / 5000;
        const uint16_t word[6] = {s->config, s->shunt, s->bus, (uint16_t)power, (uint16_t)amps, s->calibration};
        s->latch = s->pointer < 6 ? word[s->pointer] : 0;
    }
    return s->index++ % 2 == 0 ? (uint8_t)(s->latch >> 8) : (uint8_t)s->latch;
}

uint8_t slave_read(struct slave *s)
{
    switch (s->kind) {
    case IS_SWITCH:
        return branches;
    case IS_ANGLE:
        return read_angle(s);
    default:
        return read_monitor(s);
    }
}

/* How long one conversion takes, us: 9 to 12 bits, or 2^n of 12 bits averaged. */
static unsigned conversion_us(unsigned bits)
{
    static const unsigned single[4] = {84, 148, 276, 532};
    return bits & 8 ? 532u << (bits & 7) : single[bits & 3];
}

/* A monitor shows its last whole conversion. */
void sensors_convert(void)
{
    for (int j = 0; j < JOINTS; j++) {
        struct slave *s = &monitor[j];
        unsigned mode = s->config & 7;
        if (mode < 5) /* switched off, or triggered, which nobody here needs */
            continue;
        unsigned us = (mode & 1 ? conversion_us(s->config >> 3 & 15) : 0) + (mode & 2 ? conversion_us(s->config >> 7 & 15) : 0);
        if (now() - s->converted < (uint64_t)us * CYCLES_PER_US)
            continue;
        s->converted = now();
        struct reading r = plant_read(j);
        long full = 4000l << (s->config >> 11 & 3), shunt = lround(r.amps * shunt_ohm * 1e5);
        if (mode & 1)
            s->shunt = (uint16_t)(int16_t)(shunt > full ? full : shunt < -full ? -full : shunt);
        long bus = lround(r.volts / 0.004);
        if (mode & 2)
            s->bus = (uint16_t)((bus < 0 ? 0 : bus) << 3 | 2);
    }
}
