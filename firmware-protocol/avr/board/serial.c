/* The serial port: what comes goes into a ring, what goes is the core's (line.h). The interrupt that sends is in serial_send.S. */
#include "board.h"
#include "board_avr.h"
#include "config.h"
#include "line.h"

#define RX_SIZE 64 /* a power of two */

static volatile uint8_t rx[RX_SIZE];
static volatile uint8_t rx_head, rx_tail;

void serial_begin(void) {
	/* Speed doubling and the frame first: an emulator works its byte time out when UBRR0L is written. */
	UCSR0A = 1 << U2X0;
	UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
	UBRR0H = 0;
	UBRR0L = (uint8_t)(F_CPU / 8 / BAUD - 1);
	UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
	UDR0 = 0; /* ends the frame that a reset may have cut */
}

/* A full ring loses the byte; the frame's check finds out. */
ISR(USART_RX_vect) {
	uint8_t b = UDR0;
	uint8_t next = (uint8_t)((rx_head + 1) & (RX_SIZE - 1));
	if (next != rx_tail) {
		rx[rx_head] = b;
		rx_head = next;
	}
}

bool serial_waits(void) { return rx_tail != rx_head; }

bool serial_take(uint8_t *b) {
	uint8_t tail = rx_tail;
	if (tail == rx_head)
		return false;
	*b = rx[tail];
	rx_tail = (uint8_t)((tail + 1) & (RX_SIZE - 1));
	return true;
}

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
