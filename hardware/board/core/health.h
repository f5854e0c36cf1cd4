/* What the host has been told of each channel's health, and what it has yet to be told. */
#ifndef HEALTH_H
#define HEALTH_H

#include <stdbool.h>
#include <stdint.h>

#include "channels.h"

struct health {
    uint8_t fault[CHANNELS]; /* enum fault; FAULT_UNKNOWN is never told */
    uint16_t untold;         /* a bit a channel */
};

void health_start(struct health *health);
void health_set(struct health *health, uint8_t channel, uint8_t fault);

/* Everything known is to be told again. */
void health_tell_all(struct health *health);

#endif
