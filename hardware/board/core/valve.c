#include "valve.h"

static const uint32_t HOLD_US = 1000UL * VALVE_HOLD_MS;

void valve_start(struct valve *valve, uint32_t now_us)
{
    hold_stop(&valve->open);
    hold_start(&valve->wary, now_us, HOLD_US);
}

bool valve_request(struct valve *valve, bool open, uint32_t now_us)
{
    if (!open) {
        hold_stop(&valve->open);
        return true;
    }
    if (hold_on(&valve->wary, now_us)) {
        hold_start(&valve->wary, now_us, HOLD_US);
        return false;
    }
    hold_start(&valve->open, now_us, HOLD_US);
    return true;
}

bool valve_open(struct valve *valve, uint32_t now_us)
{
    hold_on(&valve->wary, now_us);
    return hold_on(&valve->open, now_us);
}
