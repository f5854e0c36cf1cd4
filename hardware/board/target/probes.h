/* The temperature probes on their bus: found once after a reset, then converted and read once a second. */
#ifndef PROBES_H
#define PROBES_H

#include <stdbool.h>
#include <stdint.h>

#include "probe.h"

void probes_start(uint32_t now_us);

/* Carries the work on by at most one bit. Whether there is more to do at once. */
bool probes_step(uint32_t now_us);

/* Whether the search after the reset is over. */
bool probes_searched(void);

/* Whether slot `i` has a probe, present or not. */
bool probes_has(uint8_t i);

const struct probe *probes_get(uint8_t i);

/* A bit for each slot with a new reading, once all have been read; 0 until then. */
uint8_t probes_take_new(void);

#endif
