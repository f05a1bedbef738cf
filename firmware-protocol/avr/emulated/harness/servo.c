/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/* What the servos' leads carry, edge by edge. */
#include "harness.h"

#define LIMP_AFTER (60000ull * CYCLES_PER_US) /* a servo without pulses for so long lets go */

static struct lead {
    int high, live;
    uint64_t rise, fall; /* of the last whole pulse */
    uint64_t rising;     /* of the one under way */
    uint64_t pulses, cut;
    uint64_t n, min_width, max_width, min_frame, max_frame; /* since servo_watch */
} lead[JOINTS];

void servo_edge(int j, int high, uint64_t at)
{
    struct lead *l = &lead[j];
    if (high == l->high)
        return;
    l->high = high;
    if (high) {
        l->rising = at;
        return;
    }
    uint64_t width = at - l->rising, frame = l->rising - l->rise;
    if (l->n++) {
        if (frame < l->min_frame)
            l->min_frame = frame;
        if (frame > l->max_frame)
            l->max_frame = frame;
    }
    if (width < l->min_width)
        l->min_width = width;
    if (width > l->max_width)
        l->max_width = width;
    l->pulses++;
    l->rise = l->rising;
    l->fall = at;
    l->live = 1;
    plant_pulse(j, (double)width / CYCLES_PER_US);
}

void servo_cut(int j)
{
    lead[j].cut += (uint64_t)lead[j].high;
    servo_edge(j, 0, now());
}

void servo_watch(void)
{
    for (int j = 0; j < JOINTS; j++) {
        lead[j].n = lead[j].max_width = lead[j].max_frame = 0;
        lead[j].min_width = lead[j].min_frame = UINT64_MAX;
    }
}

void servo_poll(void)
{
    for (int j = 0; j < JOINTS; j++)
        if (lead[j].live && !lead[j].high && now() - lead[j].rise > LIMP_AFTER) {
            lead[j].live = 0;
            plant_pulse(j, 0);
        }
}

void servo_figures(FILE *f)
{
    fprintf(f, ",\"servos\":[");
    for (int j = 0; j < JOINTS; j++) {
        struct lead *l = &lead[j];
        fprintf(f, "%s{\"pulses\":%llu,\"cut\":%llu,\"last_rise_us\":%.3f,\"last_width_us\":%.4f,\"watched\":%llu", j ? "," : "",
                (unsigned long long)l->pulses, (unsigned long long)l->cut, (double)l->rise / CYCLES_PER_US,
                (double)(l->fall - l->rise) / CYCLES_PER_US, (unsigned long long)l->n);
        if (l->n > 1)
            fprintf(f, ",\"min_width_us\":%.4f,\"max_width_us\":%.4f,\"min_frame_us\":%.4f,\"max_frame_us\":%.4f",
                    (double)l->min_width / CYCLES_PER_US, (double)l->max_width / CYCLES_PER_US,
                    (double)l->min_frame / CYCLES_PER_US, (double)l->max_frame / CYCLES_PER_US);
        fprintf(f, "}");
    }
    fprintf(f, "]");
}
