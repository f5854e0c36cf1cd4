/* Turns 10-bit conversions of a ratiometric transducer into a 12-bit code, or into a fault.
 *
 * The transducer gives 0.1 to 0.9 of its supply over its range. Below 0.05 its line is shorted to ground or its supply
 * is gone; above 0.95 the line is open (a weak pull-up takes it there) or tied to the supply. The limits are common
 * practice, no source. */
#ifndef TRANSDUCER_H
#define TRANSDUCER_H

#include <stdbool.h>
#include <stdint.h>

enum {
    TRANSDUCER_BLOCK = 16,       /* conversions in one code: 4^2 for two more bits */
    TRANSDUCER_CODE_MAX = 4092   /* the code at the full supply: 16 x 1023 / 4 */
};

struct transducer {
    uint16_t sum, lowest, highest;
    uint8_t sound; /* blocks within limits since the fault */
    uint8_t fault; /* enum fault */
};

void transducer_begin(struct transducer *transducer);
void transducer_add(struct transducer *transducer, uint16_t conversion);

/* Ends a block of TRANSDUCER_BLOCK conversions. True when it is a reading, which is then in `code`. A single conversion
 * outside the limits spoils its block: a line that breaks in mid-block would otherwise average to a pressure. */
bool transducer_end(struct transducer *transducer, uint16_t *code);

#endif
