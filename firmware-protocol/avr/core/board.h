/* What the core asks of the board. The firmware's are in board/, those of the host tests in test/. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

/* Runs seldom: not to be merged into what runs often. */
#define COLD __attribute__((noinline))
/* The compiler is not to work an address out anew each time. */
#define OPAQUE(p) __asm__("" : "+r"(p))

/* Tables stay in the flash, where that is another memory. */
#ifdef __AVR__
#include <avr/pgmspace.h>
#define FLASH PROGMEM
#define FLASH_BYTE(x) pgm_read_byte(&(x))
#define FLASH_WORD(x) pgm_read_word(&(x))
#else
#define FLASH
#define FLASH_BYTE(x) (x)
#define FLASH_WORD(x) (x)
#endif

/* us since power-up; wraps, never steps back. */
uint32_t board_now(void);

/* The tail of the line's ring (line.h) at this moment; and its new head: there is something to send. */
uint8_t *board_line_tail(void);
void board_line_go(uint8_t *head);

/* How many pulses a second servos get, FRAME_HZ_MIN to FRAME_HZ_MAX, from the next pulse on. Called while no joint is armed; the last pulse of one
   that was may still be under way, and it and the gap behind it must come out whole. */
void board_frame(uint16_t hz);
/* Starts a servo's pulses or changes their width, in half microseconds. */
void board_pulse(uint8_t joint, uint16_t half_us);
/* Ends them; a pulse that has begun may end as it should. */
void board_pulse_off(uint8_t joint);

/* A number no host can foretell. */
uint16_t board_chance(void);

/* What the sensors of one joint gave in one turn. Bits of has are those of the wire. */
struct reading {
	uint8_t has;
	uint16_t angle, motor; /* counts */
	int16_t current;       /* mA */
	uint16_t supply;       /* mV */
	uint32_t time;         /* us, when the joint side angle was read */
};

/* What a joint has: bits as in hello; counts per turn, 4096 or 1024. */
struct caps {
	uint8_t has;
	uint16_t joint_turn, motor_turn;
};
const struct caps *board_caps(uint8_t joint);

/* The current, mA, from which on a joint's sensor may be at its end. */
uint16_t board_current_end(uint8_t joint);

/* What a joint's angle sensors last said of their magnets, as in status: bits 2 to 4 and 5 to 7. */
uint8_t board_magnets(uint8_t joint);

#endif
