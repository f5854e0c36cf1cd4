#include "transducer.h"

#include "channels.h"

enum {
    FULL = 1023,
    LOW_FAULT = FULL * 5 / 100,   /* 0.05 */
    HIGH_FAULT = FULL - LOW_FAULT,
    LOW_SOUND = FULL * 6 / 100,   /* 0.06: a line on the limit does not flicker */
    HIGH_SOUND = FULL - LOW_SOUND,
    SOUND_BLOCKS = 3
};

void transducer_begin(struct transducer *transducer)
{
    transducer->sum = 0;
    transducer->lowest = FULL;
    transducer->highest = 0;
}

void transducer_add(struct transducer *transducer, uint16_t conversion)
{
    transducer->sum += conversion;
    if (conversion < transducer->lowest)
        transducer->lowest = conversion;
    if (conversion > transducer->highest)
        transducer->highest = conversion;
}

static uint8_t block_fault(const struct transducer *t)
{
    if (t->lowest < LOW_FAULT)
        return FAULT_SHORTED;
    return t->highest > HIGH_FAULT ? FAULT_OPEN : FAULT_NONE;
}

static bool block_sound(const struct transducer *t)
{
    return t->lowest > LOW_SOUND && t->highest < HIGH_SOUND;
}

bool transducer_end(struct transducer *transducer, uint16_t *code)
{
    uint8_t fault = block_fault(transducer);
    if (fault != FAULT_NONE) {
        transducer->fault = fault;
        transducer->sound = 0;
        return false;
    }
    if (transducer->fault != FAULT_NONE) {
        transducer->sound = block_sound(transducer) ? transducer->sound + 1 : 0;
        if (transducer->sound < SOUND_BLOCKS)
            return false;
    }
    transducer->fault = FAULT_NONE;
    *code = transducer->sum >> 2;
    return true;
}
