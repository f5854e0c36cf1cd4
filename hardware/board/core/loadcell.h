/* Judges what an HX711 says. Times and limits from its data sheet: 24 bits, most significant first, two's complement;
 * saturated at 0x7FFFFF and 0x800000; DOUT is high again after the 25th clock; four conversions to settle. */
#ifndef LOADCELL_H
#define LOADCELL_H

#include <stdbool.h>
#include <stdint.h>

struct loadcell {
    uint32_t period_us;
    uint32_t heard_us;  /* the last word, or the last restart */
    uint16_t late;      /* words read so late that the next conversion may have torn them */
    uint8_t settling;   /* conversions still to be left out */
    uint8_t fault;      /* enum fault */
};

/* One word as clocked out of the chip. */
struct loadcell_word {
    uint32_t bits;
    bool high_after; /* DOUT at the 25th clock */
    uint32_t ready_us, read_us;
};

/* A rate of 10 or 80 conversions a second now holds; the next four are left out. */
void loadcell_rate(struct loadcell *cell, uint8_t per_second, uint32_t now_us);

/* Takes a word. True when it is a reading, which is then in `code`. */
bool loadcell_take(struct loadcell *cell, const struct loadcell_word *word, int32_t *code);

/* Whether the chip has been silent for so long that it is at fault and must be powered down and up. */
bool loadcell_silent(struct loadcell *cell, uint32_t now_us, bool dout_low);

#endif
