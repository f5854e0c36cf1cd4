#include "loadcell.h"

#include "channels.h"

enum { SETTLING_CONVERSIONS = 4, SILENT_PERIODS = 8 };

void loadcell_rate(struct loadcell *cell, uint8_t per_second, uint32_t now_us)
{
    cell->period_us = 1000000UL / per_second;
    cell->settling = SETTLING_CONVERSIONS;
    cell->heard_us = now_us;
}

static int32_t sign_extended(uint32_t bits)
{
    return bits & 0x800000 ? (int32_t)bits - 0x1000000 : (int32_t)bits;
}

/* The chip's oscillator is only typical, hence an eighth of a period in hand. */
static bool torn(const struct loadcell *cell, const struct loadcell_word *word)
{
    return word->read_us - word->ready_us > cell->period_us - cell->period_us / 8;
}

bool loadcell_take(struct loadcell *cell, const struct loadcell_word *word, int32_t *code)
{
    if (!word->high_after) {
        cell->fault = FAULT_SHORTED;
        return false;
    }
    cell->heard_us = word->read_us;
    if (torn(cell, word)) {
        cell->late++;
        return false;
    }
    if (cell->settling) {
        cell->settling--;
        return false;
    }
    if (word->bits == 0x7FFFFF || word->bits == 0x800000) {
        cell->fault = FAULT_SATURATED;
        return false;
    }
    cell->fault = FAULT_NONE;
    *code = sign_extended(word->bits);
    return true;
}

bool loadcell_silent(struct loadcell *cell, uint32_t now_us, bool dout_low)
{
    if (now_us - cell->heard_us < SILENT_PERIODS * cell->period_us)
        return false;
    cell->fault = dout_low ? FAULT_SHORTED : FAULT_NOT_READY;
    cell->heard_us = now_us;
    return true;
}
