#include "boots.h"

static uint16_t after(uint16_t number)
{
    return number >= BOOT_BLANK - 1 ? 0 : number + 1;
}

/* Numbers run on from cell to cell; the newest is the one whose neighbour does not follow it. */
uint8_t boots_newest(const uint16_t cells[BOOT_CELLS])
{
    for (uint8_t i = 0; i < BOOT_CELLS; i++)
        if (cells[i] != BOOT_BLANK && cells[(i + 1) % BOOT_CELLS] != after(cells[i]))
            return i;
    return 0;
}

uint16_t boots_next(const uint16_t cells[BOOT_CELLS], uint8_t *cell)
{
    uint8_t newest = boots_newest(cells);
    if (cells[newest] == BOOT_BLANK) {
        *cell = 0;
        return 0;
    }
    *cell = (uint8_t)((newest + 1) % BOOT_CELLS);
    return after(cells[newest]);
}
