/* The channels a board can have, the names they bear in frames, and the fault numbers told of them. */
#ifndef CHANNELS_H
#define CHANNELS_H

#include <stdint.h>

enum channel { CH_W, CH_LO, CH_HI, CH_VA, CH_T1, CH_T2, CH_T3, CH_T4, CH_T5, CHANNELS };

enum { TRANSDUCERS = CH_T1 - CH_LO, PROBES = CHANNELS - CH_T1 };

enum fault { FAULT_NONE, FAULT_NOT_READY, FAULT_SATURATED, FAULT_OPEN, FAULT_SHORTED, FAULT_UNKNOWN = 255 };

/* Name of a channel as frames spell it. */
const char *channel_name(uint8_t channel);

#endif
