/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * The two-wire bus, master side. The emulator's own (1.6) takes a bit for a microsecond whatever the rate, gives
 * starts and addresses no time and the wrong status, and does not clear its flag when told to. So
 * the control register is taken over: each act ends after the time its bits take at the rate that is set,
 * with the status of the data sheet.
 */
#include <simavr/avr_twi.h>

#include "harness.h"

enum { TWBR = 0xB8, TWSR = 0xB9, TWDR = 0xBB, TWCR = 0xBC };
enum { TWIE = 0, TWEN = 2, TWSTO = 4, TWSTA = 5, TWEA = 6, TWINT = 7 };
enum { /* status, master; ATmega328P data sheet, tables of the two-wire interface */
    STARTED = 0x08, RESTARTED = 0x10,
    W_ADDRESS = 0x18, W_DATA = 0x28, R_ADDRESS = 0x40, R_DATA = 0x50, R_DATA_LAST = 0x58,
    NOTHING = 0xF8,
    REFUSED = 0x08, /* added to an address's or a written byte's: not acknowledged */
};

static avr_twi_t *twi;
static enum { IDLE, OWNED, WRITING, READING } state; /* OWNED: started, no address yet */
static struct slave *peer;
static uint8_t next_status;
static uint64_t free_at; /* when a stop is done */
static enum bus_state whole;
static uint64_t acts, refused, addressed, bus_cycles;
static uint64_t turn_at, turns, turn_total, turn_worst; /* from a start to the stop that no start follows; since bus_watch */

static uint64_t bit_cycles(void)
{
    return 16 + 2ull * avr->data[TWBR] * (1ull << 2 * (avr->data[TWSR] & 3));
}

static avr_cycle_count_t on_done(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)when;
    (void)param;
    a->data[TWSR] = (uint8_t)((a->data[TWSR] & 3) | next_status);
    avr_raise_interrupt(a, &twi->twi);
    return 0;
}

static avr_cycle_count_t on_stopped(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)when;
    (void)param;
    a->data[TWCR] &= (uint8_t)~(1 << TWSTO);
    return 0;
}

static void later(uint8_t status, unsigned bits)
{
    uint64_t wait = bits * bit_cycles();
    acts++;
    bus_cycles += wait;
    if (whole == BUS_STUCK)
        return; /* a line is held down: nothing ends */
    if (free_at > avr->cycle)
        wait += free_at - avr->cycle;
    next_status = status;
    avr_cycle_timer_register(avr, wait, on_done, NULL);
}

static void address(uint8_t byte)
{
    peer = whole == BUS_OK ? slave_at(byte >> 1) : NULL;
    addressed++;
    refused += peer == NULL;
    state = byte & 1 ? READING : WRITING;
    if (peer)
        slave_begin(peer);
    later((uint8_t)((byte & 1 ? R_ADDRESS : W_ADDRESS) + (peer ? 0 : REFUSED)), 9);
}

static void on_twcr_write(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    uint8_t was = a->data[addr];
    if (!(v >> TWEN & 1)) {
        bus_reset();
        a->data[addr] = v & (uint8_t)~(1 << TWINT | 1 << TWSTO);
        a->data[TWSR] = (uint8_t)((a->data[TWSR] & 3) | NOTHING);
        return;
    }
    if (!(v >> TWINT & 1)) { /* the flag stays as it is */
        a->data[addr] = (uint8_t)((v & ~(1 << TWINT)) | (was & 1 << TWINT));
        if (a->data[addr] >> TWINT & 1 && v >> TWIE & 1)
            avr_raise_interrupt(a, &twi->twi);
        return;
    }
    avr_clear_interrupt(a, &twi->twi);
    a->data[addr] = v & (uint8_t)~(1 << TWINT);
    if (v >> TWSTO & 1) {
        state = IDLE;
        peer = NULL;
        a->data[TWSR] = (uint8_t)((a->data[TWSR] & 3) | NOTHING);
        if (whole == BUS_STUCK)
            return;
        free_at = a->cycle + 2 * bit_cycles();
        avr_cycle_timer_register(a, 2 * bit_cycles(), on_stopped, NULL);
    }
    if (v >> TWSTO & 1 && !(v >> TWSTA & 1) && turn_at) {
        uint64_t took = now() - turn_at;
        turn_at = 0;
        turns++;
        turn_total += took;
        if (took > turn_worst)
            turn_worst = took;
    }
    if (v >> TWSTA & 1 && !turn_at)
        turn_at = now();
    if (v >> TWSTA & 1) {
        later(state == IDLE ? STARTED : RESTARTED, 2);
        state = OWNED;
    } else if (state == OWNED) {
        address(a->data[TWDR]);
    } else if (state == WRITING) {
        int taken = peer && slave_write(peer, a->data[TWDR]);
        later((uint8_t)(W_DATA + (taken ? 0 : REFUSED)), 9);
    } else if (state == READING) {
        a->data[TWDR] = peer ? slave_read(peer) : 0xFF;
        later(v >> TWEA & 1 ? R_DATA : R_DATA_LAST, 9);
    }
}

void bus_watch(void)
{
    turns = turn_total = turn_worst = 0;
}

void bus_reset(void)
{
    turn_at = 0;
    avr_cycle_timer_cancel(avr, on_done, NULL);
    avr_cycle_timer_cancel(avr, on_stopped, NULL);
    avr_clear_interrupt(avr, &twi->twi);
    state = IDLE;
    peer = NULL;
    free_at = 0;
}

void bus_init(void)
{
    twi = (avr_twi_t *)find_module("twi", 0);
    own_register(TWCR, NULL, on_twcr_write);
    own_register(TWDR, NULL, NULL);
}

void bus_fault(int joint, enum bus_state s)
{
    if (joint >= 0)
        sensors_dead(joint, s != BUS_OK);
    else
        whole = s;
}

void bus_figures(FILE *f)
{
    fprintf(f, ",\"bus_turns\":%llu,\"bus_turn_us\":%.1f,\"bus_worst_us\":%.1f", (unsigned long long)turns,
            turns ? (double)turn_total / (double)turns / CYCLES_PER_US : 0, (double)turn_worst / CYCLES_PER_US);
    fprintf(f, ",\"bus_acts\":%llu,\"bus_addressed\":%llu,\"bus_refused\":%llu,\"bus_busy\":%.3f",
            (unsigned long long)acts, (unsigned long long)addressed, (unsigned long long)refused,
            (double)bus_cycles / (double)(now() ? now() : 1));
}
