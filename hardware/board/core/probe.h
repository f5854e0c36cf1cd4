/* Judges what a DS18B20 temperature probe says, and keeps each probe at its own number. */
#ifndef PROBE_H
#define PROBE_H

#include <stdbool.h>
#include <stdint.h>

#include "channels.h"

enum { ROM_BYTES = 8, SCRATCHPAD_BYTES = 9, ROM_FAMILY = 0x28 };

struct probe {
    int16_t last;   /* 1/16 degree C */
    uint8_t misses; /* readings refused one after another */
    uint8_t fault;  /* enum fault; FAULT_UNKNOWN before the first judgement */
};

/* Takes a scratchpad. True when it holds a reading, which is then in `probe->last`. Refused are a wrong checksum, and
 * +85 degrees when the probe was not near it: its power-on value, left there by a brown-out. */
bool probe_take(struct probe *probe, const uint8_t scratchpad[SCRATCHPAD_BYTES]);

/* Whether a slot holds the number of a probe. */
bool rom_valid(const uint8_t rom[ROM_BYTES]);

/* The slot for a probe that was found: the one it has, else the first empty one, else the first whose probe was not
 * found (bit clear in `found`); PROBES when there is none. Thus a probe that is missing never shifts the others. */
uint8_t probe_slot(uint8_t slots[PROBES][ROM_BYTES], uint8_t found, const uint8_t rom[ROM_BYTES]);

#endif
