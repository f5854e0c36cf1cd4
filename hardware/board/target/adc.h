/* Reads the transducers in sweeps, on interrupts: 3 channels x 17 conversions of 104 us. */
#ifndef ADC_H
#define ADC_H

#include <stdbool.h>
#include <stdint.h>

#include "transducer.h"

/* Measures against the supply, which feeds the transducers too. */
void adc_start(struct transducer *transducers);

/* Begins a sweep. */
void adc_sweep(void);

/* Whether a sweep has ended since the last call; `micros` is then its middle. */
bool adc_swept(uint32_t *micros);

#endif
