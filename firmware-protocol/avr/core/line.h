/* Bytes on their way to the host, as core and board share them. Also read by the assembler. */
#ifndef LINE_H
#define LINE_H

/* Room for three full messages of samples and two answers. */
#define LINE_RING 368

#ifndef __ASSEMBLER__
#include <stdint.h>

/* What lies from tail to head goes out. The core moves the head, one whole frame at a time, the board the tail. */
extern uint8_t line_ring[LINE_RING];
extern uint8_t *volatile line_head, *volatile line_tail;

uint16_t line_room(void);
#endif
#endif
