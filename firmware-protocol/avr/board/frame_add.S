; frame_add of core/wire.h by hand, the same but for its speed: 20 cycles for a byte where the compiler needs 33. With it
; go 50,000 bytes per second through check and stuffing. The check's table is the polynomial 0x1021 applied to each byte.
	.section .progmem.crc, "a", @progbits
	.p2align 8
.macro crc_table part
	.set at, 0
	.rept 256
	.set crc, at << 8
	.rept 8
	.set crc, ((crc << 1) ^ (((crc >> 15) & 1) * 0x1021)) & 0xFFFF
	.endr
	.byte (crc >> \part) & 0xFF
	.set at, at + 1
	.endr
.endm
crc_high:
	crc_table 8
crc_low:
	crc_table 0

#define N 0 /* offsets in struct frame */
#define CODE 1
#define CRC_HI 2
#define CRC_LO 3

	.section .text.frame_add, "ax", @progbits
	.global frame_add
frame_add:                        ; r24 frame, r22 buf, r20 p, r18 n
	tst r18
	breq 4f
	push r28
	push r29
	mov r0, r24               ; the frame, for the end
	movw r30, r24
	movw r26, r20             ; X: from
	movw r20, r22             ; r20: where the distance to the next zero will stand
	ldd r19, Z + CODE
	add r20, r19
	adc r21, r1
	movw r28, r22             ; Y: to; of buf the low byte is enough from here on
	ld r19, Z
	add r28, r19
	adc r29, r1
	mov r23, r25
	ldd r24, Z + CRC_HI
	ldd r25, Z + CRC_LO
	ldi r31, hi8(crc_high)
1:	ld r19, X+
	mov r30, r24
	eor r30, r19
	lpm r24, Z
	eor r24, r25
	inc r31                   ; the low bytes' table
	lpm r25, Z
	dec r31
	tst r19
	breq 3f
2:	st Y+, r19
	dec r18
	brne 1b
	mov r30, r0
	mov r31, r23
	sub r28, r22
	st Z, r28
	sub r20, r22
	std Z + CODE, r20
	std Z + CRC_HI, r24
	std Z + CRC_LO, r25
	pop r29
	pop r28
	ret
3:	mov r30, r28
	sub r30, r20
	mov r19, r30
	movw r30, r20
	st Z, r19
	movw r20, r28
	clr r19
	ldi r31, hi8(crc_high)
	rjmp 2b
4:	ret
