/* The serial port: two rings, each with one writer and one reader. */
#include "board.h"
#include "board_avr.h"
#include "config.h"

#define RX_SIZE 64 /* a power of two */
#define TX_SIZE 384 /* three full messages of samples and two answers */

static volatile uint8_t rx[RX_SIZE];
static volatile uint8_t rx_head, rx_tail;
static volatile uint8_t tx[TX_SIZE];
static volatile uint16_t tx_head, tx_tail;
static uint16_t tx_write; /* where a frame that is not yet whole goes on */

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

bool serial_take(uint8_t *b) {
	uint8_t tail = rx_tail;
	if (tail == rx_head)
		return false;
	*b = rx[tail];
	rx_tail = (uint8_t)((tail + 1) & (RX_SIZE - 1));
	return true;
}

ISR(USART_UDRE_vect) {
	uint16_t tail = tx_tail;
	if (tail == tx_head) {
		UCSR0B &= (uint8_t)~(1 << UDRIE0);
		return;
	}
	UDR0 = tx[tail];
	if (++tail == TX_SIZE)
		tail = 0;
	tx_tail = tail;
}

uint16_t board_tx_room(void) {
	uint16_t tail;
	uint8_t sreg = SREG;
	cli(); /* two bytes are not read at once */
	tail = tx_tail;
	SREG = sreg;
	if (tail <= tx_write)
		tail = (uint16_t)(tail + TX_SIZE);
	return (uint16_t)(tail - tx_write - 1);
}

void board_tx(const uint8_t *p, uint8_t n) {
	uint16_t at = tx_write;
	while (n--) {
		tx[at] = *p++;
		if (++at == TX_SIZE)
			at = 0;
	}
	tx_write = at;
}

void board_tx_go(void) {
	uint8_t sreg = SREG;
	cli();
	tx_head = tx_write;
	UCSR0B |= 1 << UDRIE0;
	SREG = sreg;
}
