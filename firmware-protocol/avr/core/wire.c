#include "wire.h"

#include "board.h"

/* One byte of CRC-16/IBM-3740 without a table: the polynomial's three terms as shifts. Unsigned arithmetic is 16 bit
   on the board and 32 bit on a host, hence the casts. */
static inline uint16_t crc_byte(uint16_t crc, uint8_t b) {
	uint8_t x = (uint8_t)((uint8_t)(crc >> 8) ^ b);
	x = (uint8_t)(x ^ (x >> 4));
	return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
}

uint16_t crc16(const uint8_t *p, uint8_t n) {
	uint16_t crc = 0xFFFF;
	while (n--)
		crc = crc_byte(crc, *p++);
	return crc;
}

void rx_init(struct rx *d, uint8_t *buf, uint8_t cap, bool join) {
	d->buf = buf;
	d->cap = cap;
	d->n = 0;
	d->body = 0;
	d->over = false;
	d->join = join;
}

/* Undoes the stuffing in place and returns the length, 0 when it is no stuffing. There is no zero in the buffer, as
   a zero ends a frame. */
static uint8_t unstuff(uint8_t *p, uint8_t n) {
	uint8_t in = 0, out = 0;
	while (in < n) {
		uint8_t code = p[in++];
		if ((uint8_t)(code - 1) > (uint8_t)(n - in))
			return 0;
		for (uint8_t k = 1; k < code; k++)
			p[out++] = p[in++];
		if (code != 0xFF && in < n)
			p[out++] = 0;
	}
	return out;
}

static enum rx_result judge(struct rx *d, uint8_t n) {
	uint8_t len;
	if (d->over)
		return RX_TOO_LONG;
	if (n == 0)
		return RX_MORE; /* two zeros in a row are no frame and no fault */
	len = unstuff(d->buf, n);
	if (len == 0 && !(n == 1 && d->buf[0] == 1))
		return RX_STUFFING;
	if (len < 3)
		return RX_TOO_SHORT;
	d->body = (uint8_t)(len - 2);
	if (crc16(d->buf, d->body) != get16(d->buf + d->body))
		return RX_CHECKSUM;
	return RX_FRAME;
}

enum rx_result rx_byte(struct rx *d, uint8_t b) {
	enum rx_result r;
	if (b != 0) {
		if (d->n < d->cap)
			d->buf[d->n++] = b;
		else
			d->over = true;
		return RX_MORE;
	}
	r = judge(d, d->n);
	if (d->join && r != RX_FRAME)
		r = RX_MORE;
	d->n = 0;
	d->over = d->join = false;
	return r;
}

bool frame_send(uint8_t *body, uint8_t n) {
	uint8_t from = 0, to, code;
	if (board_tx_room() < (uint16_t)(n + 4))
		return false;
	put16(body + n, crc16(body, n));
	n = (uint8_t)(n + 2);
	for (;;) { /* a block never reaches 254 bytes, so each zero costs nothing */
		for (to = from; to < n && body[to] != 0; to++)
			;
		code = (uint8_t)(to - from + 1);
		board_tx(&code, 1);
		board_tx(body + from, (uint8_t)(to - from));
		if (to == n)
			break;
		from = (uint8_t)(to + 1);
	}
	code = 0;
	board_tx(&code, 1);
	board_tx_go();
	return true;
}

int32_t get24(const uint8_t *p) {
	int32_t v = (int32_t)get24u(p);
	if (v >= 0x800000)
		v -= 0x1000000;
	return v;
}
