; One act on the two-wire bus is done: begin the next. This runs some forty times per turn of the sensors, and while it
; thinks the bus stands; by hand it takes 50 cycles where the compiler needs 75. What an exchange is says board_avr.h.
#include <avr/io.h>

#include "board_avr.h"

#define GO (1 << TWINT | 1 << TWEN | 1 << TWIE)
#define ADDRESS 0 /* offsets in struct exchange */
#define COUNT 1
#define REST 2
#define BYTES 3
#define SIZE 5

	.section .text.act, "ax", @progbits
	.global TWI_vect
TWI_vect:
	push r24
	in r24, _SFR_IO_ADDR(SREG)
	push r24
	push r30
	push r31
	lds r30, bus_now
	lds r31, bus_now + 1
	lds r24, TWSR
	cpi r24, 0x08             ; start sent
	breq started
	cpi r24, 0x10
	breq started
	cpi r24, 0x50             ; first byte read
	breq first
	cpi r24, 0x58             ; second byte read
	breq second
	cpi r24, 0x18             ; address for writing taken
	breq written
	cpi r24, 0x28             ; byte written
	breq written
	cpi r24, 0x40             ; address for reading taken
	brne 2f
	rjmp reading

2:	ldd r24, Z + REST         ; nobody there, or the bus lost: past all that can not go without it
	add r30, r24
	brcc 1f
	inc r31
1:	rjmp stop

started:
	ldd r24, Z + ADDRESS
	sts TWDR, r24
go:	ldi r24, GO
act:	sts TWCR, r24
done:	pop r31
	pop r30
	pop r24
	out _SFR_IO_ADDR(SREG), r24
	pop r24
	reti

first:
	lds r24, TWDR
	std Z + BYTES, r24
	rjmp go                   ; the second is the last: not acknowledged

second:
	lds r24, TWDR
	std Z + BYTES + 1, r24
	ldi r24, 1
	std Z + REST, r24
	adiw r30, SIZE
	sts bus_now, r30
	sts bus_now + 1, r31
	ld r24, Z
	tst r24
	breq over
	ldi r24, GO | 1 << TWSTA  ; a repeated start is shorter than a stop and a start
	rjmp act

written:
	lds r24, bus_written
	push r25
	ldd r25, Z + COUNT
	cp r24, r25
	pop r25
	breq 2f
	inc r24
	sts bus_written, r24
	cpi r24, 2
	brsh 1f
	ldd r24, Z + BYTES
	sts TWDR, r24
	rjmp go
1:	brne 3f
	ldi r24, BUS_TAIL_0
	sts TWDR, r24
	rjmp go
3:	ldi r24, BUS_TAIL_1
	sts TWDR, r24
	rjmp go
2:	adiw r30, SIZE

stop:                             ; to the exchange at Z; a multiplexer switches at the stop
	sts bus_now, r30
	sts bus_now + 1, r31
	ldi r24, 0
	sts bus_written, r24
	ld r24, Z
	tst r24
	breq over
	ldi r24, GO | 1 << TWSTO | 1 << TWSTA
	rjmp act
over:	sts bus_busy, r24
	ldi r24, 1 << TWINT | 1 << TWEN | 1 << TWSTO
	rjmp act

reading:                          ; note the moment, if it is wanted
	ldi r24, GO | 1 << TWEA
	sts TWCR, r24
	ldd r24, Z + COUNT
	tst r24
	brne 1f
	rjmp done
1:	lsl r24                   ; the count is the number of the stamp, from 1 on
	ldi r30, lo8(bus_stamps - 2)
	ldi r31, hi8(bus_stamps - 2)
	add r30, r24
	brcc 1f
	inc r31
1:	in r24, _SFR_IO_ADDR(TCNT0)
	push r25
	clr r25
	cpi r24, 125
	brsh 2f
	sbis _SFR_IO_ADDR(TIFR0), OCF0A
	rjmp 2f
	ldi r25, 250              ; a tick waits that came before the count was read
2:	push r26
	clr r26
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
	st Z, r24
	std Z + 1, r26
	pop r26
	pop r25
	rjmp done
