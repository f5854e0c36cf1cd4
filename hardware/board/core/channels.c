#include "channels.h"

static const char names[CHANNELS][3] = {"w", "lo", "hi", "va", "t1", "t2", "t3", "t4", "t5"};

const char *channel_name(uint8_t channel)
{
    return names[channel];
}
