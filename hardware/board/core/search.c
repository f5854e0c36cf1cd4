#include "search.h"

#include <string.h>

void search_start(struct search *search)
{
    memset(search, 0, sizeof *search);
}

void search_pass(struct search *search)
{
    search->bit = 0;
    search->last_zero = 0;
}

static bool rom_bit(const struct search *search)
{
    return search->rom[search->bit >> 3] >> (search->bit & 7) & 1;
}

/* The parts differ here: as in the last pass before its last fork, 1 at it, 0 after it. */
static bool fork_way(struct search *search)
{
    uint8_t here = search->bit + 1;
    bool way = here == search->fork || (here < search->fork && rom_bit(search));
    if (!way)
        search->last_zero = here;
    return way;
}

static void keep(struct search *search, bool bit)
{
    uint8_t mask = (uint8_t)(1 << (search->bit & 7));
    uint8_t *byte = &search->rom[search->bit >> 3];
    *byte = bit ? *byte | mask : *byte & (uint8_t)~mask;
    if (++search->bit == SEARCH_BITS) {
        search->fork = search->last_zero;
        search->last = search->fork == 0;
    }
}

uint8_t search_bit(struct search *search, bool bit, bool complement)
{
    if (bit && complement)
        return SEARCH_FAILED;
    bool way = bit || complement ? bit : fork_way(search);
    keep(search, way);
    return way;
}
