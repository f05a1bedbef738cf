; One act on the two-wire bus is done: begin the next. This runs some forty times per turn of the sensors, and while it
; thinks the bus stands: by hand the next act begins 30 cycles after the last, where the compiler needs 60. What an exchange
; is says board_avr.h.
#include "board_avr.h"
#include "interrupt.h"

#define GO (1 << TWINT | 1 << TWEN | 1 << TWIE)
#define ADDRESS 0 /* offsets in struct exchange */
#define COUNT 1
#define BYTE 2
#define REST 3
#define NEXT 4
#define KEPT _SFR_IO_ADDR(GPIOR1)    /* the first byte read, until the second comes */
#define WRITTEN _SFR_IO_ADDR(GPIOR2) /* bytes */

	.section .text.act, "ax", @progbits
	.global TWI_vect
TWI_vect:
	enter
	lds r30, bus_now
	lds r31, bus_now + 1
	lds r24, TWSR
	cpi r24, 0x08             ; start sent
	breq .Lstarted
	cpi r24, 0x50             ; first byte read
	breq .Lfirst
	cpi r24, 0x58             ; second byte read
	breq .Lsecond
	cpi r24, 0x40             ; address for reading taken
	brne 1f
	rjmp .Lreading
1:	cpi r24, 0x18             ; address for writing taken
	breq .Laddressed
	cpi r24, 0x28             ; byte written
	breq .Lwritten
	cpi r24, 0x10             ; start sent, without a stop before
	breq .Lstarted

	ldd r24, Z + REST         ; nobody there, or the bus lost: past all that can not go without it
	add r30, r24
	brcc 1f
	inc r31
1:	mov KEEP_25, r25
	ldi r25, MULTIPLEXER << 1 ; with a stop
	rjmp .Lonward

.Lstarted:
	ld r24, Z                 ; the address
	sts TWDR, r24
.Lgo:	ldi r24, GO
.Lact:	sts TWCR, r24
.Ldone:	leave

.Lfirst:
	lds r24, TWDR
	out KEPT, r24
	rjmp .Lgo                   ; the second is the last: not acknowledged

.Laddressed:
	ldi r24, 1
	out WRITTEN, r24
	ldd r24, Z + BYTE
	sts TWDR, r24
	rjmp .Lgo

.Lsecond:
	mov KEEP_25, r25
	push r26
	push r27
	lds r26, bus_words
	lds r27, bus_words + 1
	ldd r24, Z + BYTE         ; its place among them
	add r26, r24
	brcc 1f
	inc r27
1:	lds r24, TWDR
	st X+, r24
	in r24, KEPT
	st X, r24
	pop r27
	pop r26
	clr r25                   ; a repeated start is shorter than a stop and a start
	rjmp .Lonward

.Lwritten:
	mov KEEP_25, r25
	in r25, WRITTEN
	ldd r24, Z + COUNT
	cp r24, r25
	breq .Lwhole
	inc r25
	out WRITTEN, r25
	ldi r24, BUS_TAIL_0
	sbrc r25, 0               ; the third
	ldi r24, BUS_TAIL_1
	sts TWDR, r24
	mov r25, KEEP_25
	rjmp .Lgo
.Lwhole:	ld r25, Z                 ; a multiplexer switches at the stop

.Lonward:                           ; to the exchange behind that at Z; r25 is the address of the one that is done
	ldd r24, Z + NEXT
	add r30, r24
	brcc 1f
	inc r31
1:	sts bus_now, r30
	sts bus_now + 1, r31
	ld r24, Z
	tst r24
	breq .Lover
	ldi r24, GO | 1 << TWSTA
	cpi r25, MULTIPLEXER << 1
	brne 1f
	ldi r24, GO | 1 << TWSTO | 1 << TWSTA
1:	sts TWCR, r24
	mov r25, KEEP_25
	rjmp .Ldone

.Lover:	push r0
	push r1
	clr r1
	push r18
	push r19
	push r20
	push r21
	push r22
	push r23
	push r26
	push r27
	call turns_ended
	pop r27
	pop r26
	pop r23
	pop r22
	pop r21
	pop r20
	pop r19
	pop r18
	pop r1
	pop r0
	mov r25, KEEP_25
	rjmp .Ldone

.Lreading:                          ; note the moment, if it is wanted
	ldi r24, GO | 1 << TWEA
	sts TWCR, r24
	ldd r24, Z + COUNT
	tst r24
	brne 1f
	rjmp .Ldone
1:	mov KEEP_25, r25
	push r26
	ldd r25, Z + BYTE
	lds r30, bus_words
	lds r31, bus_words + 1
	add r30, r25
	brcc 1f
	inc r31
1:	in r24, _SFR_IO_ADDR(TCNT0)
	clr r25
	cpi r24, 125
	brsh 2f
	sbis _SFR_IO_ADDR(TIFR0), OCF0A
	rjmp 2f
	ldi r25, 250              ; a tick waits that came before the count was read
2:	clr r26
	lsl r24                   ; 4 us each
	rol r26
	lsl r24
	rol r26
	lsl r25                   ; and 1000 for that tick: 250 times 4
	brcc 3f
	subi r26, -2
3:	lsl r25
	brcc 4f
	inc r26
4:	add r24, r25
	brcc 5f
	inc r26
5:	lds r25, clock_tick
	add r24, r25
	lds r25, clock_tick + 1
	adc r26, r25
	std Z + 2, r24            ; behind the word
	std Z + 3, r26
	pop r26
	mov r25, KEEP_25
	rjmp .Ldone
