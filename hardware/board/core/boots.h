/* The boot number, kept in a ring of cells so that no cell wears out: 16 cells stand 1.6 million resets. */
#ifndef BOOTS_H
#define BOOTS_H

#include <stdint.h>

enum { BOOT_CELLS = 16, BOOT_BLANK = 0xFFFF };

/* The cell that holds the newest number; 0 when all are blank. */
uint8_t boots_newest(const uint16_t cells[BOOT_CELLS]);

/* The number after the newest, never BOOT_BLANK, and in `cell` where to write it. */
uint16_t boots_next(const uint16_t cells[BOOT_CELLS], uint8_t *cell);

#endif
