; What happens before main, in the places the C library leaves for it.
#include <avr/io.h>

#define STACK_PAINT 0xC5
#define IO(r) _SFR_IO_ADDR(r)

; Paint what the stack will use, so that its deepest reach can be read later.
	.section .init1, "ax", @progbits
	ldi r30, lo8(_end)
	ldi r31, hi8(_end)
	ldi r24, STACK_PAINT
	ldi r25, hi8(RAMEND + 1)
	rjmp 2f
1:	st Z+, r24
2:	cpi r30, lo8(RAMEND + 1)
	cpc r31, r25
	brlo 1b

; Why did it start? And the watchdog off: it stays on over its own reset, with its shortest time.
	.section .init3, "ax", @progbits
	in r24, IO(MCUSR)
	sts reset_flags, r24
	out IO(MCUSR), r1
	wdr
	lds r25, WDTCSR
	ori r25, (1 << WDCE) | (1 << WDE)
	sts WDTCSR, r25
	sts WDTCSR, r1

	.section .noinit, "aw", @nobits
	.global reset_flags
reset_flags:
	.skip 1
