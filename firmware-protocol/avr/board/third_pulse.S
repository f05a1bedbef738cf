; A round of timer 2, which makes the third joint's pulse: pulses.c. Most change nothing but their count.
#include "interrupt.h"

	.section .text.third, "ax", @progbits
	.global TIMER2_COMPA_vect
TIMER2_COMPA_vect:
	enter
	lds r24, third_second
	tst r24
	brne 1f
	lds r24, third_togo
	cpi r24, 3
	brlo 1f
	dec r24
	sts third_togo, r24
	leave
1:	mov r24, KEEP_24
	out _SFR_IO_ADDR(SREG), KEEP_FLAGS
	jmp __vector_third
