/* SPDX-License-Identifier: GPL-3.0-or-later; see harness.h. */
/*
 * What the firmware needs of the board. It writes a number into GPIOR0 when it begins a part of its work; the time
 * up to the next such mark belongs to that part. Between two marks of one number lies one of its turns.
 */
#include <elf.h>
#include <stdlib.h>
#include <string.h>

#include "harness.h"

enum { GPIOR0 = 0x3E, FILL = 0xC5 };
#define MARKS 32

static struct mark {
    uint64_t n, total, worst, turns, turn_total, worst_turn, at;
} mark[MARKS];
static int running = -1;

static uint32_t flash, ram, stack_from, stack_used;

void figures_watch(void)
{
    memset(mark, 0, sizeof mark);
    running = -1;
}

static void on_mark(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    uint64_t t = now();
    if (running >= 0) {
        struct mark *m = &mark[running];
        m->total += t - m->at;
        if (t - m->at > m->worst)
            m->worst = t - m->at;
    }
    running = (int)(value % MARKS);
    struct mark *m = &mark[running];
    m->n++;
    if (m->at) {
        m->turns++;
        m->turn_total += t - m->at;
        if (t - m->at > m->worst_turn)
            m->worst_turn = t - m->at;
    }
    m->at = t;
}

/* Sizes, and where the stack's room begins, from the ELF file itself. */
void figures_read(const char *name)
{
    FILE *f = fopen(name, "rb");
    static uint8_t file[1 << 22];
    size_t n = f ? fread(file, 1, sizeof file, f) : 0;
    if (f)
        fclose(f);
    const Elf32_Ehdr *e = (const void *)file;
    if (n == 0)
        fatal("there is no such firmware", name);
    if (n < sizeof *e || memcmp(e->e_ident, ELFMAG, SELFMAG) || e->e_machine != EM_AVR ||
        e->e_shoff + (size_t)e->e_shnum * sizeof(Elf32_Shdr) > n)
        fatal("this is no ELF file of an AVR", name);
    const Elf32_Shdr *s = (const void *)(file + e->e_shoff);
    for (int i = 0; i < e->e_shnum; i++) {
        if (s[i].sh_type == SHT_SYMTAB) {
            const Elf32_Sym *sym = (const void *)(file + s[i].sh_offset);
            const char *names = (const char *)file + s[s[i].sh_link].sh_offset;
            for (size_t k = 0; k < s[i].sh_size / sizeof *sym; k++)
                if (!strcmp(names + sym[k].st_name, "_end"))
                    stack_from = sym[k].st_value & 0xFFFF;
        }
        if (!(s[i].sh_flags & SHF_ALLOC) || s[i].sh_addr >= 0x810000)
            continue; /* fuses and the like */
        int in_ram = s[i].sh_addr >= 0x800000;
        if (in_ram)
            ram += s[i].sh_size;
        if (s[i].sh_type != SHT_NOBITS)
            flash += s[i].sh_size; /* what is in the memory at the start lies in the flash as well */
    }
}

void figures_init(void)
{
    avr_irq_register_notify(avr_iomem_getirq(avr, GPIOR0, "mark", AVR_IOMEM_IRQ_ALL), on_mark, NULL);
}

static uint32_t stack_depth(void);

/* Fills the room the stack may grow into; what it was up to a reset is kept. */
void figures_paint(void)
{
    static int painted;
    running = -1;
    for (int i = 0; i < MARKS; i++)
        mark[i].at = 0; /* a turn cut off by a reset is none */
    if (painted)
        stack_depth();
    painted = 1;
    if (stack_from)
        memset(avr->data + stack_from, FILL, avr->ramend + 1u - stack_from);
}

static uint32_t stack_depth(void)
{
    for (uint32_t at = stack_from; stack_from && at <= avr->ramend; at++)
        if (avr->data[at] != FILL) {
            uint32_t used = avr->ramend + 1u - at;
            if (used > stack_used)
                stack_used = used; /* also over resets */
            break;
        }
    return stack_used;
}

void figures_print(FILE *f)
{
    fprintf(f, ",\"flash_bytes\":%u,\"ram_bytes\":%u,\"stack_bytes\":%u,\"stack_room\":%u", flash, ram, stack_depth(), avr->ramend + 1u - stack_from);
    fprintf(f, ",\"marks\":[");
    int first = 1;
    for (int i = 0; i < MARKS; i++)
        if (mark[i].n) {
            struct mark *m = &mark[i];
            fprintf(f, "%s{\"mark\":%d,\"n\":%llu,\"mean\":%.1f,\"worst\":%llu,\"mean_turn\":%.1f,\"worst_turn\":%llu}", first ? "" : ",", i,
                    (unsigned long long)m->n, (double)m->total / (double)m->n, (unsigned long long)m->worst,
                    m->turns ? (double)m->turn_total / (double)m->turns : 0, (unsigned long long)m->worst_turn);
            first = 0;
        }
    fprintf(f, "]");
}
