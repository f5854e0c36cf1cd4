/* The one-wire search: finds the number of every part on the bus, one a pass, in rising order of their bits. */
#ifndef SEARCH_H
#define SEARCH_H

#include <stdbool.h>
#include <stdint.h>

#include "probe.h"

enum { SEARCH_FAILED = 2, SEARCH_BITS = 8 * ROM_BYTES };

struct search {
    uint8_t rom[ROM_BYTES];
    uint8_t bit;         /* of this pass, 0 to 63 */
    uint8_t fork;        /* 1 + the bit where this pass turns to 1, 0 for none */
    uint8_t last_zero;   /* 1 + the last fork taken to 0 in this pass */
    bool last;           /* no part is left after this pass */
};

void search_start(struct search *search);

/* Begins a pass. */
void search_pass(struct search *search);

/* Both readings of a bit (the bit and its complement, as all parts together answer): the bit to send, or SEARCH_FAILED
 * when nobody answered. After SEARCH_BITS of them `rom` is a part's number and `last` holds. */
uint8_t search_bit(struct search *search, bool bit, bool complement);

#endif
