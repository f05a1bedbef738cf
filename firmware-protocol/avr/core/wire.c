#include "wire.h"

#include <string.h>

#include "board.h"
#include "line.h"

uint8_t line_ring[LINE_RING];
uint8_t *volatile line_head = line_ring, *volatile line_tail = line_ring;

uint16_t line_room(void) {
	const uint8_t *tail = board_line_tail(), *head = line_head;
	if (tail <= head)
		tail += LINE_RING;
	return (uint16_t)(tail - head - 1);
}

/* One byte of CRC-16/IBM-3740 without a table: the polynomial's three terms as shifts of single bytes, which an 8 bit
   board does in 20 cycles. */
static inline void crc_byte(uint8_t *hi, uint8_t *lo, uint8_t b) {
	/* One variable for each term: in a single expression the compiler would shift 16 bits. */
	uint8_t x = (uint8_t)(*hi ^ b), by3, by4, by5;
	x = (uint8_t)(x ^ x >> 4);
	by3 = (uint8_t)(x >> 3);
	by4 = (uint8_t)(x << 4);
	by5 = (uint8_t)(x << 5);
	*hi = (uint8_t)(*lo ^ by4 ^ by3);
	*lo = (uint8_t)(x ^ by5);
}

uint16_t crc16(const uint8_t *p, uint8_t n) {
	uint8_t hi = 0xFF, lo = 0xFF;
	while (n--)
		crc_byte(&hi, &lo, *p++);
	return (uint16_t)((uint16_t)hi << 8 | lo);
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

static COLD enum rx_result ends(struct rx *d, uint8_t n) {
	enum rx_result r = judge(d, n);
	if (d->join && r != RX_FRAME)
		r = RX_MORE;
	d->over = d->join = false;
	return r;
}

enum rx_result rx_bytes(struct rx *d, const uint8_t *p, uint8_t *n) {
	const uint8_t *from = p, *to = p + *n;
	uint8_t *at = d->buf + d->n, *end = d->buf + d->cap;
	enum rx_result r = RX_MORE;
	while (p != to && r == RX_MORE) {
		uint8_t b = *p++;
		if (b != 0) {
			if (at != end)
				*at++ = b;
			else
				d->over = true;
			continue;
		}
		if (at != d->buf || d->join)
			r = ends(d, (uint8_t)(at - d->buf));
		at = d->buf;
	}
	d->n = (uint8_t)(at - d->buf);
	*n = (uint8_t)(p - from);
	return r;
}

void frame_begin(struct frame *f) {
	f->n = 1;
	f->code = 0;
	f->crc_hi = f->crc_lo = 0xFF;
}

#ifndef FRAME_ADD_BY_HAND
/* Where a zero would stand comes the distance to the next one, written when that is known. A block never reaches 254
   bytes, so no zero is added. */
void frame_add(struct frame *f, uint8_t *buf, const uint8_t *p, uint8_t n) {
	uint8_t hi = f->crc_hi, lo = f->crc_lo;
	uint8_t *at = buf + f->n, *code = buf + f->code;
	while (n--) {
		uint8_t b = *p++;
		crc_byte(&hi, &lo, b);
		if (b == 0) {
			*code = (uint8_t)(at - code);
			code = at;
		}
		*at++ = b;
	}
	f->crc_hi = hi;
	f->crc_lo = lo;
	f->n = (uint8_t)(at - buf);
	f->code = (uint8_t)(code - buf);
}
#endif

/* Check, last distance and delimiter; returns the length. */
static uint8_t finish(struct frame *f, uint8_t *buf) {
	uint8_t check[2] = {f->crc_lo, f->crc_hi};
	frame_add(f, buf, check, 2);
	buf[f->code] = (uint8_t)(f->n - f->code);
	buf[f->n] = 0;
	return (uint8_t)(f->n + 1);
}

bool frame_end(struct frame *f, uint8_t *buf) {
	uint8_t n = finish(f, buf), first;
	uint8_t *head = line_head;
	if (line_room() < n)
		return false;
	if (line_ring + LINE_RING - head > n) {
		memcpy(head, buf, n);
		head += n;
	} else { /* over the end of the ring */
		first = (uint8_t)(line_ring + LINE_RING - head);
		memcpy(head, buf, first);
		n = (uint8_t)(n - first);
		memcpy(line_ring, buf + first, n);
		head = line_ring + n;
	}
	board_line_go(head);
	return true;
}

static inline uint8_t *next(uint8_t *at) { return ++at == line_ring + LINE_RING ? line_ring : at; }

/* Over the end of the ring. */
static COLD void send_in_two(const uint8_t *body, uint8_t n) {
	uint8_t hi = 0xFF, lo = 0xFF;
	uint8_t *code = line_head, *at = next(code), count = 1, more = (uint8_t)(n + 2);
	for (; more; more--) {
		uint8_t b = hi;
		if (more > 2) {
			b = *body++;
			crc_byte(&hi, &lo, b);
		} else if (more == 2) {
			b = lo;
		}
		*at = b;
		if (b == 0) {
			*code = count;
			code = at;
			count = 0;
		}
		at = next(at);
		count++;
	}
	*code = count;
	*at = 0;
	board_line_go(next(at));
}

/* Straight into the ring, as a second buffer for the longest answer would cost more memory than there is. */
bool frame_send(const uint8_t *body, uint8_t n) {
	struct frame f;
	uint8_t *head = line_head;
	if (line_room() < (uint16_t)(n + 4))
		return false;
	if (line_ring + LINE_RING - head <= n + 4) {
		send_in_two(body, n);
		return true;
	}
	frame_begin(&f);
	frame_add(&f, head, body, n);
	board_line_go(head + finish(&f, head));
	return true;
}

int32_t get24(const uint8_t *p) {
	int32_t v = (int32_t)get24u(p);
	if (v >= 0x800000)
		v -= 0x1000000;
	return v;
}
