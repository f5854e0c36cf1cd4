#include "schedule.h"

void beat_start(struct beat *beat, uint32_t now_us, uint32_t period_us)
{
    beat->period_us = period_us;
    beat->due_us = now_us + period_us;
}

bool beat_due(struct beat *beat, uint32_t now_us)
{
    if ((int32_t)(now_us - beat->due_us) < 0)
        return false;
    beat->due_us += beat->period_us;
    if ((int32_t)(now_us - beat->due_us) >= 0)
        beat->due_us = now_us + beat->period_us;
    return true;
}

void hold_start(struct hold *hold, uint32_t now_us, uint32_t length_us)
{
    hold->on = length_us > 0;
    hold->since_us = now_us;
    hold->length_us = length_us;
}

void hold_stop(struct hold *hold)
{
    hold->on = false;
}

bool hold_on(struct hold *hold, uint32_t now_us)
{
    if (hold->on && now_us - hold->since_us >= hold->length_us)
        hold->on = false;
    return hold->on;
}
