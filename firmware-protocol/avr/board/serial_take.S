; A byte of the host goes into the ring, 50 per ms in a flood. When the ring is full what follows is left out up to the end
; of a frame behind which there is room for a whole one again: a few whole frames are worth more than pieces of all.
#include "interrupt.h"
#include "serial_ring.h"

	.section .text.take, "ax", @progbits
	.global USART_RX_vect
USART_RX_vect:
	enter
	mov KEEP_25, r25
	lds r25, UDR0
	lds r30, rx_head
	lds r31, rx_tail
	lds r24, rx_full
	tst r24
	brne 3f
	mov r24, r30
	inc r24
	andi r24, RX_SIZE - 1
	cp r24, r31
	breq 4f
1:	sts rx_head, r24
	clr r31
	subi r30, lo8(-(rx))
	sbci r31, hi8(-(rx))
	st Z, r25
2:	mov r25, KEEP_25
	leave
3:	tst r25
	brne 2b
	mov r24, r31              ; room, less one
	sub r24, r30
	dec r24
	andi r24, RX_SIZE - 1
	cpi r24, RX_FRAME
	brlo 2b
	clr r24
	sts rx_full, r24
	mov r24, r30
	inc r24
	andi r24, RX_SIZE - 1
	rjmp 1b                   ; this zero ends what was cut off
4:	sts rx_full, r25          ; any number but 0
	tst r25
	brne 2b
	inc r25
	sts rx_full, r25
	rjmp 2b
