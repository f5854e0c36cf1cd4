#include "health.h"

#include <string.h>

void health_start(struct health *health)
{
    memset(health->fault, FAULT_UNKNOWN, sizeof health->fault);
    health->untold = 0;
}

void health_set(struct health *health, uint8_t channel, uint8_t fault)
{
    if (health->fault[channel] == fault)
        return;
    health->fault[channel] = fault;
    health->untold |= (uint16_t)(1 << channel);
}

void health_tell_all(struct health *health)
{
    for (uint8_t i = 0; i < CHANNELS; i++)
        if (health->fault[i] != FAULT_UNKNOWN)
            health->untold |= (uint16_t)(1 << i);
}
