/* The HX711's two wires and its rate pin. */
#ifndef HX711_H
#define HX711_H

#include <stdbool.h>
#include <stdint.h>

#include "loadcell.h"

void hx711_start(void);

/* Sets the RATE pin: 10 or 80 conversions a second. */
void hx711_rate(uint8_t per_second);

/* Powers the chip down and up, which resets it. */
void hx711_restart(void);

/* Whether a conversion waits; then clocks it out. */
bool hx711_read(struct loadcell_word *word);

bool hx711_dout_low(void);

#endif
