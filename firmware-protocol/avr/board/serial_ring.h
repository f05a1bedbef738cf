/* The ring of bytes from the host. Also read by the assembler. */
#ifndef SERIAL_RING_H
#define SERIAL_RING_H

#define RX_SIZE 64  /* a power of two */
#define RX_FRAME 37 /* the longest frame of a host, and the zero that ends what was cut off before */

#endif
