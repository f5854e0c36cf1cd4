/* What the board remembers without power: its boot number and which probe has which slot. */
#ifndef MEMORY_H
#define MEMORY_H

#include <stdint.h>

#include "probe.h"

/* The number of this boot, new at every call. */
uint16_t memory_boot(void);

void memory_load_slots(uint8_t slots[PROBES][ROM_BYTES]);
void memory_store_slot(uint8_t slot, const uint8_t rom[ROM_BYTES]);

#endif
