/* When the valve is open: only while requests keep coming, and never on an order from before a reset. */
#ifndef VALVE_H
#define VALVE_H

#include <stdbool.h>
#include <stdint.h>

#include "schedule.h"

enum { VALVE_HOLD_MS = 1000 };

struct valve {
    struct hold open;
    struct hold wary; /* since the reset, or since the last request that it refused */
};

/* After a reset: closed, and wary. A host that holds the valve open goes on asking through a short reset; until that
 * has ceased for a second, such requests are not a new order and are refused. */
void valve_start(struct valve *valve, uint32_t now_us);

/* Takes a request. Whether it is obeyed; closing always is. */
bool valve_request(struct valve *valve, bool open, uint32_t now_us);

/* Whether the valve is open; closes it when the last request is 1,000 ms old. */
bool valve_open(struct valve *valve, uint32_t now_us);

#endif
