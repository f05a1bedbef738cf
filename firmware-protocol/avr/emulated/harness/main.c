/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_timer.h>
#include <simavr/sim_elf.h>

#include "harness.h"

enum { MCUSR = 0x54, PORF = 0, EXTRF = 1 };

#define TURN (50 * CYCLES_PER_US) /* how long the processor runs between two looks at the world */

avr_t *avr;
static uint64_t before_reset, last_cycle;
static uint64_t resets, slow_turns;
static double worst_lag;

static const char usage[] =
    "usage: harness [options] firmware.elf\n"
    "Runs the stand's firmware on an emulated board, prints the path of its serial port, takes commands on\n"
    "standard input, and ends with it.\n"
    "  -x N        times real time; beyond 1 the host's heartbeat is repeated, so that it keeps its\n"
    "              rate by the board's clock; 0: as fast as it goes\n"
    "  -k          an opened port does not reset the board\n"
    "  -m BRANCHES what hangs on the bus switch, branch by branch: j0 a joint's sensor, m0 its motor side's, - nothing;\n"
    "              default j0,j1,j2,m0,m1,m2\n"
    "  -s [J:]NAME=VALUE  a setting of the plant, of all joints or of joint J\n"
    "Commands, each answered by a line of JSON:\n"
    "  figures | watch | set [J:]NAME=VALUE | bus ok|dead|stuck | sensor J ok|dead | hang | reset | quit\n"
    "Settings:\n";

void fatal(const char *what, const char *detail)
{
    fprintf(stderr, "emulated board: %s: %s\n", what, detail);
    exit(1);
}

uint64_t now(void)
{
    if (avr->cycle < last_cycle) /* some versions of the emulator begin to count anew at a reset */
        before_reset += last_cycle;
    last_cycle = avr->cycle;
    return before_reset + last_cycle;
}

void own_register(avr_io_addr_t addr, avr_io_read_t read, avr_io_write_t write)
{
    avr->io[AVR_DATA_TO_IO(addr)].r.c = read;
    avr->io[AVR_DATA_TO_IO(addr)].w.c = write;
}

avr_io_t *find_module(const char *kind, char name)
{
    for (avr_io_t *io = avr->io_port; io; io = io->next)
        if (!strcmp(io->kind, kind) && (strcmp(kind, "timer") || ((avr_timer_t *)io)->name == name))
            return io;
    fatal("the emulated processor lacks a module", kind);
    return NULL;
}

static void quiet(avr_t *a, const int level, const char *format, va_list ap)
{
    (void)a;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, ap);
}

static void no_sleep(avr_t *a, avr_cycle_count_t cycles)
{
    (void)a;
    (void)cycles;
}

/* A firmware that hangs: where it just is, an instruction that jumps to itself (rjmp .-2) until the next reset. */
static uint32_t hung_at;
static uint8_t hung_over[2];

static void hang(int on)
{
    static const uint8_t loop[2] = {0xFF, 0xCF};
    if (on == (hung_at != 0))
        return;
    if (on) {
        hung_at = avr->pc;
        memcpy(hung_over, avr->flash + hung_at, 2);
    }
    memcpy(avr->flash + hung_at, on ? loop : hung_over, 2);
    if (!on)
        hung_at = 0;
}

/* called by the emulator at each reset, also by the watchdog's */
static void on_reset(avr_io_t *io)
{
    (void)io;
    hang(0);
    now();
    resets++;
    serial_reset();
    bus_reset();
    timers_reset();
    figures_paint();
}

static avr_io_t watcher = {.kind = "watcher", .reset = on_reset};

static void reset(int cause)
{
    avr_reset(avr);
    avr->data[MCUSR] = (uint8_t)(1 << cause);
}

static double wall(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* Waits while the board is ahead of the wall's clock. What was lost on a busy machine is not made up for: the
 * board would outrun its host. */
static void pace(double speed)
{
    static double start_wall, start_cycle;
    if (speed <= 0)
        return;
    double t = wall(), c = (double)now();
    double ahead = (c - start_cycle) / HZ / speed - (t - start_wall);
    if (start_wall == 0 || ahead < -0.02) {
        slow_turns += start_wall != 0;
        if (start_wall != 0 && -ahead > worst_lag)
            worst_lag = -ahead;
        start_wall = t;
        start_cycle = c;
    } else if (ahead > 0.0005) {
        usleep((useconds_t)(ahead * 1e6));
    }
}

static double begun;

static void figures(void)
{
    printf("{\"sim_us\":%.1f,\"wall_s\":%.3f,\"resets\":%llu,\"slow_turns\":%llu,\"worst_lag_s\":%.3f", (double)now() / CYCLES_PER_US,
           wall() - begun, (unsigned long long)resets - 1, (unsigned long long)slow_turns, worst_lag);
    serial_figures(stdout);
    bus_figures(stdout);
    servo_figures(stdout);
    plant_figures(stdout);
    figures_print(stdout);
    printf("}\n");
}

static int setting(char *text)
{
    char *eq = strchr(text, '='), *end;
    if (!eq)
        return 0;
    *eq = 0;
    double v = strtod(eq + 1, &end);
    return end != eq + 1 && *end == 0 && plant_set(text, v);
}

static int bus_command(int joint, const char *state)
{
    static const char *const names[] = {"ok", "dead", "stuck"};
    for (int i = 0; i < (joint < 0 ? 3 : 2); i++)
        if (!strcmp(state, names[i])) {
            bus_fault(joint, (enum bus_state)i);
            return 1;
        }
    return 0;
}

/* true when there is such a command */
static int obey(const char *word, char *arg, const char *more)
{
    if (!strcmp(word, "reset")) {
        reset(EXTRF);
    } else if (!strcmp(word, "hang")) {
        hang(1);
    } else if (!strcmp(word, "watch")) {
        servo_watch();
        figures_watch();
        bus_watch();
    } else if (!strcmp(word, "set") && arg) {
        return setting(arg);
    } else if (!strcmp(word, "bus") && arg) {
        return bus_command(-1, arg);
    } else if (!strcmp(word, "sensor") && arg && more && arg[0] >= '0' && arg[0] < '0' + JOINTS && !arg[1]) {
        return bus_command(arg[0] - '0', more);
    } else {
        return 0;
    }
    return 1;
}

static void command(char *line)
{
    char *word = strtok(line, " "), *arg = strtok(NULL, " "), *more = strtok(NULL, " ");
    if (!word)
        return;
    plant_to(now());
    if (!strcmp(word, "quit"))
        exit(0);
    if (!strcmp(word, "figures"))
        figures();
    else if (obey(word, arg, more))
        printf("{\"sim_us\":%.1f}\n", (double)now() / CYCLES_PER_US);
    else
        printf("{\"error\":\"no such command or setting\"}\n");
}

/* reads what the test says; false when it has gone */
static int control(void)
{
    static char line[256];
    static size_t len;
    char c;
    for (;;) {
        ssize_t n = read(0, &c, 1);
        if (n == 0)
            return 0;
        if (n < 0)
            return errno == EAGAIN || errno == EINTR;
        if (c != '\n') {
            if (len < sizeof line - 1)
                line[len++] = c;
            continue;
        }
        line[len] = 0;
        len = 0;
        command(line);
        fflush(stdout);
    }
}

int main(int argc, char **argv)
{
    double speed = 1;
    int keep = 0, option;
    char *end;
    plant_init();
    sensors_wire("j0,j1,j2,m0,m1,m2");
    sensors_init();
    while ((option = getopt(argc, argv, "x:km:s:h")) != -1) {
        int good = 1;
        switch (option) {
        case 'x':
            good = (speed = strtod(optarg, &end)) >= 0 && end != optarg && !*end;
            break;
        case 'k':
            keep = 1;
            break;
        case 'm':
            good = sensors_wire(optarg);
            break;
        case 's':
            good = setting(optarg);
            break;
        default:
            good = 0;
        }
        if (!good) {
            if (option != '?' && option != 'h')
                fprintf(stderr, "emulated board: -%c does not take \"%s\"\n", option, optarg);
            fputs(usage, option == 'h' ? stdout : stderr);
            plant_help(option == 'h' ? stdout : stderr);
            return option == 'h' ? 0 : 2;
        }
    }
    if (optind != argc - 1) {
        fprintf(stderr, "emulated board: name one firmware, an ELF file; -h says more\n");
        return 2;
    }
    figures_read(argv[optind]);
    elf_firmware_t firmware = {0};
    avr_global_logger_set(quiet);
    if (elf_read_firmware(argv[optind], &firmware))
        fatal("read the firmware", argv[optind]);
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        fatal("make a processor", "the emulator knows no atmega328p");
    avr_init(avr);
    firmware.frequency = HZ;
    avr_load_firmware(avr, &firmware);
    avr->frequency = HZ;
    avr->sleep = no_sleep;
    serial_init();
    serial_repeat_beats(speed <= 0 || speed > 1);
    bus_init();
    timers_init();
    servo_watch();
    figures_init();
    avr_register_io(avr, &watcher);
    reset(PORF);

    fcntl(0, F_SETFL, fcntl(0, F_GETFL) | O_NONBLOCK);
    begun = wall();
    printf("{\"port\":\"%s\"}\n", serial_path());
    fflush(stdout);
    for (unsigned turn = 0;; turn++) {
        uint64_t until = now() + TURN;
        while (now() < until) {
            int state = avr_run(avr);
            if (state == cpu_Done || state == cpu_Crashed)
                fatal("run the firmware", state == cpu_Crashed ? "it crashed" : "it ended: it sleeps with interrupts off");
        }
        plant_to(now());
        timers_poll();
        servo_poll();
        if (turn % 5 == 0 && serial_pump() && !keep)
            reset(EXTRF);
        if (turn % 5 == 0)
            pace(speed);
        if (turn % 20 == 0 && !control())
            return 0;
    }
}
