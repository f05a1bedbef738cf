/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * The board's serial port. The emulator's own (1.6) counts eleven bits for a byte of ten, works the
 * byte's time out only when the low rate register is written, and has 64 places in its receiver
 * where the board has two and the shift register. So the registers are taken over: ten bits at the rate that is
 * set, a transmitter of two places, a receiver of three that loses what comes when they are full.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_uart.h>

#include "harness.h"

enum { UCSRA = 0xC0, UCSRB = 0xC1, UBRRL = 0xC4, UBRRH = 0xC5, UDR = 0xC6 };
enum { U2X = 1, DOR = 3, UDRE = 5, TXC = 6, RXC = 7 };        /* of UCSRA */
enum { TXEN = 3, RXEN = 4, UDRIE = 5, TXCIE = 6, RXCIE = 7 }; /* of UCSRB */

static avr_uart_t *uart;

/* receiver */
static uint8_t fifo[3];
static unsigned fifo_len;
static uint64_t overruns, received;
static int receiving; /* a timer runs */

/* transmitter */
static uint8_t shifter, buffer;
static int shifting, buffered;
static uint64_t sent;

/* the line and the pseudo-terminal */
#define ROOM 65536u
struct queue {
    uint8_t at[ROOM];
    unsigned head, len;
};
static struct queue in, out;
static int master, watch, is_open;
static uint64_t out_lost;
static char path[64];

/* what is understood of it */
static struct reader from_host, from_line, from_board; /* as the host writes, as the board gets, as it sends */
static uint64_t samples, frames_sent, beats, beats_repeated, last_beat;
static int repeat;
static uint64_t next_repeat;
static double host_beat_s;

static int is_beat(const struct reader *r)
{
    return r->body[0] == 0x05 && r->body_len == 2;
}

static double wall(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void put(struct queue *q, uint8_t b)
{
    q->at[(q->head + q->len++) % ROOM] = b;
}

static uint8_t take(struct queue *q)
{
    uint8_t b = q->at[q->head];
    q->head = (q->head + 1) % ROOM;
    q->len--;
    return b;
}

static int bit(avr_io_addr_t reg, int b)
{
    return avr->data[reg] >> b & 1;
}

static void set_bit(avr_io_addr_t reg, int b, int on)
{
    avr->data[reg] = (uint8_t)(on ? avr->data[reg] | 1 << b : avr->data[reg] & ~(1 << b));
}

static uint64_t byte_cycles(void)
{
    unsigned rate = (avr->data[UBRRL] | (avr->data[UBRRH] & 0x0Fu) << 8) + 1;
    return 10u * rate * (bit(UCSRA, U2X) ? 8 : 16);
}

/* Receiver and empty transmitter ask for attention as long as they have cause to. */
static void attention(void)
{
    set_bit(UCSRA, RXC, fifo_len > 0);
    set_bit(UCSRA, UDRE, !buffered);
    if (fifo_len > 0 && bit(UCSRB, RXCIE))
        avr_raise_interrupt(avr, &uart->rxc);
    if (!buffered && bit(UCSRB, UDRIE))
        avr_raise_interrupt(avr, &uart->udrc);
}

/* A start bit that finds both places and the shift register taken costs the byte in the latter. */
static void begin_byte(void)
{
    if (fifo_len == sizeof fifo) {
        fifo_len--;
        overruns++;
        set_bit(UCSRA, DOR, 1);
    }
    receiving = 1;
}

static avr_cycle_count_t on_received(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)a;
    (void)param;
    uint8_t b = take(&in);
    received++;
    if (reader_take(&from_line, b) && is_beat(&from_line)) {
        beats++;
        last_beat = now();
    }
    if (bit(UCSRB, RXEN) && fifo_len < sizeof fifo) {
        fifo[fifo_len++] = b;
        attention();
    }
    receiving = 0;
    if (!in.len)
        return 0;
    begin_byte();
    return when + byte_cycles();
}

static uint8_t on_udr_read(avr_t *a, avr_io_addr_t addr, void *param)
{
    (void)param;
    if (fifo_len) {
        a->data[addr] = fifo[0];
        memmove(fifo, fifo + 1, --fifo_len);
    }
    set_bit(UCSRA, DOR, 0);
    avr_clear_interrupt(avr, &uart->rxc);
    attention();
    return a->data[addr];
}

static avr_cycle_count_t on_shifted(avr_t *a, avr_cycle_count_t when, void *param)
{
    (void)a;
    (void)param;
    sent++;
    if (!is_open || out.len == ROOM)
        out_lost++;
    else
        put(&out, shifter);
    if (reader_take(&from_board, shifter)) {
        frames_sent++;
        samples += reader_samples(&from_board);
    }
    shifting = buffered;
    if (!buffered) {
        set_bit(UCSRA, TXC, 1);
        if (bit(UCSRB, TXCIE))
            avr_raise_interrupt(avr, &uart->txc);
        return 0;
    }
    shifter = buffer;
    buffered = 0;
    attention();
    return when + byte_cycles();
}

static void on_udr_write(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)a;
    (void)addr;
    (void)param;
    if (!bit(UCSRB, TXEN) || buffered)
        return; /* as the board: what is written into a full buffer is lost */
    if (shifting) {
        buffer = v;
        buffered = 1;
    } else {
        shifter = v;
        shifting = 1;
        avr_cycle_timer_register(avr, byte_cycles(), on_shifted, NULL);
    }
    avr_clear_interrupt(avr, &uart->udrc);
    attention();
}

static void on_ucsra_write(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    uint8_t own = 1 << RXC | 1 << UDRE | 1 << DOR;
    uint8_t txc = v >> TXC & 1 ? 0 : a->data[addr] & 1 << TXC; /* a one clears it */
    a->data[addr] = (uint8_t)((a->data[addr] & own) | txc | (v & 3));
}

static void on_ucsrb_write(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    a->data[addr] = v;
    if (!(v >> RXEN & 1))
        fifo_len = 0;
    attention();
}

static void on_plain_write(avr_t *a, avr_io_addr_t addr, uint8_t v, void *param)
{
    (void)param;
    a->data[addr] = v;
}

void serial_reset(void)
{
    fifo_len = 0;
    receiving = shifting = buffered = 0; /* the emulator has dropped the timers */
    memset(&from_board, 0, sizeof from_board);
    set_bit(UCSRA, UDRE, 1);
}

void serial_init(void)
{
    uart = (avr_uart_t *)find_module("uart", '0');
    own_register(UDR, on_udr_read, on_udr_write);
    own_register(UCSRA, NULL, on_ucsra_write);
    own_register(UCSRB, NULL, on_ucsrb_write);
    own_register(UBRRL, NULL, on_plain_write);
    own_register(UBRRH, NULL, on_plain_write);

    master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (master < 0 || grantpt(master) || unlockpt(master) || ptsname_r(master, path, sizeof path))
        fatal("make a pseudo-terminal", strerror(errno));
    /* The setting outlives our hold on the other end, which must end: only then does poll tell
     * when nobody has it open. */
    int other = open(path, O_RDWR | O_NOCTTY);
    struct termios t;
    if (other < 0 || tcgetattr(other, &t))
        fatal("open the pseudo-terminal", strerror(errno));
    cfmakeraw(&t);
    tcsetattr(other, TCSANOW, &t);
    close(other);
    /* Polling would miss a port that is closed and opened again at once. */
    watch = inotify_init1(IN_NONBLOCK);
    if (watch < 0 || inotify_add_watch(watch, path, IN_OPEN | IN_CLOSE) < 0)
        fatal("watch the pseudo-terminal", strerror(errno));
}

const char *serial_path(void)
{
    return path;
}

void serial_repeat_beats(int on)
{
    repeat = on;
}

/* Ahead of real time the host's heartbeat would come too seldom by the board's clock. While the host is
 * alive, that is, was heard within the last second of real time, its beat is repeated each 100 ms of the
 * board's time. Never at real time, where the rule itself is tested. */
static void repeat_beats(void)
{
    if (!repeat || wall() - host_beat_s > 1 || now() < next_repeat || from_host.raw_len || in.len)
        return;
    uint8_t frame[8];
    unsigned n = frame_beat(frame, (uint8_t)++beats_repeated);
    for (unsigned i = 0; i < n; i++)
        put(&in, frame[i]);
    next_repeat = now() + HZ / 10;
}

/* True when the port was opened since the last call. */
static int opened(void)
{
    char events[4096] __attribute__((aligned(8)));
    int anew = 0;
    ssize_t n = read(watch, events, sizeof events);
    for (char *p = events; n > 0 && p < events + n;) {
        const struct inotify_event *e = (const void *)p;
        /* Events alike come as one, so they can not be counted: the first close is taken for the end. */
        if (e->mask & IN_OPEN && !is_open)
            is_open = anew = 1;
        if (e->mask & IN_CLOSE)
            is_open = 0;
        p += sizeof *e + e->len;
    }
    if (!is_open)
        out.len = 0;
    if (anew) { /* what the last host wrote is not for this one's board */
        while (read(master, events, sizeof events) > 0)
            ;
        out.len = in.len = 0;
        memset(&from_host, 0, sizeof from_host);
    }
    return anew;
}

int serial_pump(void)
{
    int anew = opened();
    /* Not more than a moment's worth: what waits in the terminal holds the host up, as a line does. */
    uint8_t chunk[256];
    if (in.len < sizeof chunk) {
        ssize_t n = read(master, chunk, sizeof chunk);
        for (ssize_t i = 0; i < n; i++) {
            put(&in, chunk[i]);
            if (reader_take(&from_host, chunk[i]) && is_beat(&from_host))
                host_beat_s = wall();
        }
    }
    repeat_beats();
    if (in.len && !receiving) {
        begin_byte();
        avr_cycle_timer_register(avr, byte_cycles(), on_received, NULL);
    }
    while (out.len) {
        unsigned n = out.len < ROOM - out.head ? out.len : ROOM - out.head;
        ssize_t done = write(master, out.at + out.head, n);
        if (done <= 0)
            break;
        out.head = (out.head + (unsigned)done) % ROOM;
        out.len -= (unsigned)done;
    }
    return anew;
}

void serial_figures(FILE *f)
{
    fprintf(f, ",\"rx_bytes\":%llu,\"rx_overruns\":%llu,\"tx_bytes\":%llu,\"tx_nobody\":%llu",
            (unsigned long long)received, (unsigned long long)overruns, (unsigned long long)sent, (unsigned long long)out_lost);
    fprintf(f, ",\"frames_sent\":%llu,\"samples_sent\":%llu,\"beats\":%llu,\"beats_repeated\":%llu,\"last_beat_us\":%.1f,\"byte_cycles\":%llu",
            (unsigned long long)frames_sent, (unsigned long long)samples, (unsigned long long)beats,
            (unsigned long long)beats_repeated, (double)last_beat / CYCLES_PER_US, (unsigned long long)byte_cycles());
}
