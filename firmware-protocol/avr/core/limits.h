/* Figures of SPEC.md that more than one file needs. Macros alone: config.h has them too. */
#ifndef LIMITS_H
#define LIMITS_H

#define HEARTBEAT_US 250000UL /* without a whole heartbeat for longer a stand trips, and none is armed */
#define FRAME_HZ_MIN 50       /* servo pulses per second that may be asked for */
#define FRAME_HZ_MAX 333
#define PULSE_GAP_US 500      /* at least, between the end of a pulse and the next one */

#endif
