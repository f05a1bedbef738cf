/* Frames: CRC, byte stuffing, and numbers in bytes. Section 2 of SPEC.md. Knows no message. */
#ifndef WIRE_H
#define WIRE_H

#include <stdbool.h>
#include <stdint.h>

#define MAX_BODY 96      /* stand to host */
#define MAX_HOST_BODY 32 /* host to stand */
#define STUFFED(body) ((body) + 3) /* CRC and one byte of stuffing; the delimiter is not kept */

uint16_t crc16(const uint8_t *p, uint8_t n);

/* What came of a byte. From RX_CHECKSUM on it is a fault. */
enum rx_result { RX_MORE, RX_FRAME, RX_CHECKSUM, RX_STUFFING, RX_TOO_LONG, RX_TOO_SHORT };

/* A receiver of frames. The buffer is the caller's; its size is the longest frame taken. */
struct rx {
	uint8_t *buf;
	uint8_t cap, n, body; /* body: its length, after RX_FRAME */
	bool over, join;
};

/* join: what is broken before the next zero byte is nobody's fault. */
void rx_init(struct rx *d, uint8_t *buf, uint8_t cap, bool join);

/* rx_bytes takes some of *n bytes: up to the end of a frame, or all. *n is then how many it took. After RX_FRAME the body lies
   at d->buf until the next byte is given. */
enum rx_result rx_bytes(struct rx *d, const uint8_t *p, uint8_t *n);

static inline enum rx_result rx_byte(struct rx *d, uint8_t b) {
	uint8_t n = 1;
	return rx_bytes(d, &b, &n);
}

/* A frame that grows. Check and stuffing go along with it, so that the work is spread: at its end there is little left to
   do. buf is the caller's and has room for the longest body and 4 bytes. */
struct frame {
	uint8_t n, code; /* bytes in buf; where the distance to the next zero will stand */
	uint8_t crc_hi, crc_lo;
};
void frame_begin(struct frame *f);
void frame_add(struct frame *f, uint8_t *buf, const uint8_t *p, uint8_t n);
/* Ends it and gives it to the line whole, or says false when there is no room. */
bool frame_end(struct frame *f, uint8_t *buf);

/* All of that for a body that is there already. */
bool frame_send(const uint8_t *body, uint8_t n);

static inline uint16_t get16(const uint8_t *p) { return (uint16_t)(p[0] | (uint16_t)p[1] << 8); }
static inline uint32_t get24u(const uint8_t *p) { return (uint32_t)get16(p) | (uint32_t)p[2] << 16; }
static inline uint32_t get32(const uint8_t *p) { return (uint32_t)get16(p) | (uint32_t)get16(p + 2) << 16; }
int32_t get24(const uint8_t *p);

static inline uint8_t *put8(uint8_t *p, uint8_t v) {
	*p++ = v;
	return p;
}
static inline uint8_t *put16(uint8_t *p, uint16_t v) {
	*p++ = (uint8_t)v;
	*p++ = (uint8_t)(v >> 8);
	return p;
}
static inline uint8_t *put24(uint8_t *p, uint32_t v) {
	return put8(put16(p, (uint16_t)v), (uint8_t)(v >> 16));
}
static inline uint8_t *put32(uint8_t *p, uint32_t v) { return put16(put16(p, (uint16_t)v), (uint16_t)(v >> 16)); }

#endif
