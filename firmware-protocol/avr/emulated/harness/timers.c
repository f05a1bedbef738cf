/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * The timers behind the servos' leads. The emulator (1.6) takes timer 1's mode 14, fast PWM up to ICR1, for another
 * kind and leaves its pins where they first were, and loses count of timer 2 when its compare value changes on
 * the way. So their registers are taken over, as far as pulses need them: timer 1 in mode 14 with both outputs,
 * compare values taken over at the start of a frame, the frame's end at once, so that a count beyond it goes all the
 * way round; timer 2 counting up to OCR2A, with output A and its interrupt.
 */
#include <simavr/avr_timer.h>

#include "harness.h"

enum { DDRB = 0x24 };
enum { TCCR1A = 0x80, TCCR1B = 0x81, TCNT1 = 0x84, ICR1 = 0x86, OCR1A = 0x88, OCR1B = 0x8A };
enum { TCCR2A = 0xB0, TCCR2B = 0xB1, TCNT2 = 0xB2, OCR2A = 0xB3 };

static unsigned word(avr_io_addr_t at)
{
    return avr->data[at] | avr->data[at + 1] << 8;
}

/* timer 1 */
static const unsigned prescaler1[8] = {0, 1, 8, 64, 256, 1024, 0, 0};
static uint64_t frame_at; /* start of the running frame */
static int running, missed; /* missed: the frame's end was set to where the count had been */
static uint64_t fall_at[2]; /* of the pulse under way, 0: none */
static uint8_t high_byte;   /* the register that both bytes of a word go through */

static unsigned step1(void)
{
    int mode = (avr->data[TCCR1B] >> 1 & 12) | (avr->data[TCCR1A] & 3);
    return mode == 14 ? prescaler1[avr->data[TCCR1B] & 7] : 0;
}

static int output1(int k)
{
    return avr->data[TCCR1A] >> (k ? 5 : 7) & 1 && avr->data[DDRB] >> (k ? 2 : 1) & 1;
}

/* brings timer 1 to now */
static void advance1(void)
{
    unsigned step = step1();
    if (!step) {
        running = 0;
        for (int k = 0; k < 2; k++)
            if (fall_at[k]) {
                fall_at[k] = 0;
                servo_cut(k);
            }
        return;
    }
    if (!running) {
        running = 1;
        missed = 0;
        frame_at = now();
    }
    for (;;) {
        uint64_t next = frame_at + (missed ? 65536 : word(ICR1) + 1ull) * step;
        for (int k = 0; k < 2; k++)
            if (fall_at[k] && fall_at[k] <= now()) {
                servo_edge(k, 0, fall_at[k]);
                fall_at[k] = 0;
            } else if (fall_at[k] && !output1(k)) {
                servo_cut(k);
                fall_at[k] = 0;
            }
        if (next > now())
            return;
        frame_at = next;
        missed = 0;
        for (int k = 0; k < 2; k++)
            if (output1(k)) {
                servo_edge(k, 1, frame_at);
                fall_at[k] = frame_at + (word(k ? OCR1B : OCR1A) + 1ull) * step;
            }
    }
}

static void on_control1(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    advance1();
    a->data[addr] = v;
    advance1();
}

static void on_high_byte(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)a;
    (void)addr;
    (void)param;
    high_byte = v;
}

static void on_low_byte(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    advance1();
    a->data[addr] = v;
    a->data[addr + 1] = high_byte;
    if (addr == ICR1 && running)
        missed = (now() - frame_at) / step1() > word(ICR1);
}

static void on_set_count1(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)a;
    (void)addr;
    (void)param;
    advance1();
    uint64_t count = v | high_byte << 8;
    if (running) {
        frame_at = now() - count * step1();
        missed = count > word(ICR1);
    }
}

static uint8_t on_count1(avr_t *a, avr_io_addr_t addr, void *param)
{
    (void)param;
    unsigned step = step1();
    advance1();
    unsigned count = step ? (unsigned)((now() - frame_at) / step) : 0;
    a->data[addr + 1] = (uint8_t)(count >> 8);
    return a->data[addr] = (uint8_t)count;
}

/* timer 2 */
static const unsigned prescaler2[8] = {0, 1, 8, 32, 64, 128, 256, 1024};
static avr_timer_t *timer2;
static uint64_t zero_at; /* when it was 0 */

static unsigned step2(void)
{
    return prescaler2[avr->data[TCCR2B] & 7];
}

static uint8_t count2(void)
{
    return step2() ? (uint8_t)((now() - zero_at) / step2()) : 0;
}

/* The timer was at OCR2A and begins anew. */
static avr_cycle_count_t on_match2(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)param;
    unsigned com = a->data[TCCR2A] >> 6;
    zero_at = when + (now() - a->cycle);
    if (com >= 2 && a->data[DDRB] >> 3 & 1)
        servo_edge(2, com == 3, zero_at);
    avr_raise_interrupt(a, &timer2->comp[AVR_TIMER_COMPA].interrupt);
    return when + (a->data[OCR2A] + 1ull) * step2();
}

static void plan2(void)
{
    uint64_t at = zero_at + (avr->data[OCR2A] + 1ull) * step2();
    avr_cycle_timer_cancel(avr, on_match2, NULL);
    if (!step2() || (avr->data[TCCR2A] & 3) != 2)
        return;
    if (at <= now()) /* it is past already and goes all the way round */
        at += 256ull * step2();
    avr_cycle_timer_register(avr, at - now(), on_match2, NULL);
}

static void on_control2(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    unsigned com = a->data[TCCR2A] >> 6, mode = a->data[TCCR2A] & 3, step = step2();
    a->data[addr] = v;
    if (com && !(a->data[TCCR2A] >> 6))
        servo_cut(2); /* the pin is the port's again, which is low */
    if (step2() != step)
        zero_at = now();
    if (step2() != step || mode != (a->data[TCCR2A] & 3u))
        plan2();
}

static void on_compare2(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    a->data[addr] = v;
    plan2();
}

static uint8_t on_count2(avr_t *a, avr_io_addr_t addr, void *param)
{
    (void)param;
    return a->data[addr] = count2();
}

void timers_poll(void)
{
    advance1();
}

void timers_reset(void)
{
    running = 0;
    fall_at[0] = fall_at[1] = 0;
    for (int j = 0; j < JOINTS; j++)
        servo_cut(j); /* all pins let go */
}

void timers_init(void)
{
    timer2 = (avr_timer_t *)find_module("timer", '2');
    own_register(TCCR1A, NULL, on_control1);
    own_register(TCCR1B, NULL, on_control1);
    own_register(TCNT1, on_count1, on_set_count1);
    own_register(TCNT1 + 1, NULL, on_high_byte);
    for (avr_io_addr_t at = ICR1; at <= OCR1B; at += 2) {
        own_register(at, NULL, on_low_byte);
        own_register(at + 1, NULL, on_high_byte);
    }
    own_register(TCCR2A, NULL, on_control2);
    own_register(TCCR2B, NULL, on_control2);
    own_register(TCNT2, on_count2, NULL);
    own_register(OCR2A, NULL, on_compare2);
}
