/* The interrupts that are written by hand keep the registers they use in r2 to r6, which the compiler leaves alone (-ffixed in
   the Makefile) and the C library's own code does not use: one does not interrupt another, so no stack is needed. That is
   two fifths of such an interrupt, and they run a hundred times per ms. */
#ifndef INTERRUPT_H
#define INTERRUPT_H

#include <avr/io.h>

#define KEEP_FLAGS r2
#define KEEP_24 r3
#define KEEP_Z r4 /* and r5 */
#define KEEP_25 r6

.macro enter
	in KEEP_FLAGS, _SFR_IO_ADDR(SREG)
	mov KEEP_24, r24
	movw KEEP_Z, r30
.endm

.macro leave
	movw r30, KEEP_Z
	mov r24, KEEP_24
	out _SFR_IO_ADDR(SREG), KEEP_FLAGS
	reti
.endm

#endif
