/* The board's free-running microsecond counter, and the millisecond that ends a sleep. */
#ifndef TICKS_H
#define TICKS_H

#include <stdint.h>

void ticks_start(void);

/* Microseconds since the start, wrapping at 2^32. May be called from interrupts. */
uint32_t ticks_us(void);

#endif
