/* The serial port: what comes goes into a ring, what goes is the core's (line.h). The interrupts are in serial_send.S and
   serial_take.S. */
#include "board.h"
#include "board_avr.h"
#include "config.h"
#include "line.h"
#include "serial_ring.h"

volatile uint8_t rx[RX_SIZE];
volatile uint8_t rx_head, rx_tail, rx_full;

void serial_begin(void) {
	/* Speed doubling and the frame first: an emulator works its byte time out when UBRR0L is written. */
	UCSR0A = 1 << U2X0;
	UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
	UBRR0H = 0;
	UBRR0L = (uint8_t)(F_CPU / 8 / BAUD - 1);
	UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
	UDR0 = 0; /* ends the frame that a reset may have cut */
}

uint8_t serial_run(const uint8_t **p) {
	uint8_t tail = rx_tail, head = rx_head;
	*p = (const uint8_t *)rx + tail;
	return (uint8_t)((head >= tail ? head : RX_SIZE) - tail);
}

bool serial_crowded(void) { return (uint8_t)((rx_head - rx_tail) & (RX_SIZE - 1)) > RX_SIZE * 3 / 4; }

void serial_taken(uint8_t n) { rx_tail = (uint8_t)((rx_tail + n) & (RX_SIZE - 1)); }

uint8_t *board_line_tail(void) {
	uint8_t *tail;
	uint8_t sreg = SREG;
	cli(); /* two bytes are not read at once */
	tail = line_tail;
	SREG = sreg;
	return tail;
}

void board_line_go(uint8_t *head) {
	uint8_t sreg = SREG;
	cli();
	line_head = head;
	UCSR0B |= 1 << UDRIE0;
	SREG = sreg;
}
