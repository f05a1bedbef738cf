; Sends the next byte: the interrupt that runs most often, 50 times per ms while the line is full.
#include "interrupt.h"
#include "line.h"

#define END (line_ring + LINE_RING)

	.section .text.send, "ax", @progbits
	.global USART_UDRE_vect
USART_UDRE_vect:
	enter
	lds r30, line_tail
	lds r31, line_tail + 1
	lds r24, line_head
	cp r24, r30
	breq 3f
1:	ld r24, Z+
	sts UDR0, r24
	ldi r24, hi8(END) ; at the end of the ring begin anew
	cpi r30, lo8(END)
	cpc r31, r24
	brne 2f
	ldi r30, lo8(line_ring)
	ldi r31, hi8(line_ring)
2:	sts line_tail, r30
	sts line_tail + 1, r31
4:	leave
3:	lds r24, line_head + 1
	cp r24, r31
	brne 1b
	lds r24, UCSR0B               ; nothing left: no more of these until there is
	andi r24, 0xFF & ~(1 << UDRIE0)
	sts UCSR0B, r24
	rjmp 4b
