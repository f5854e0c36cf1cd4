#include "adc.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "channels.h"
#include "ticks.h"

static struct transducer *blocks;
static volatile uint8_t input, conversion;
static volatile bool swept;
static uint32_t began_us;

static void convert(void)
{
    ADCSRA |= _BV(ADSC);
}

static void begin_input(uint8_t number)
{
    input = number;
    conversion = 0;
    ADMUX = _BV(REFS0) | number;
    transducer_begin(&blocks[number]);
}

/* The first conversion after a change of input still holds charge of the last one, and is left out. */
ISR(ADC_vect)
{
    uint16_t value = ADC;
    if (conversion++ > 0)
        transducer_add(&blocks[input], value);
    if (conversion > TRANSDUCER_BLOCK) {
        if (input + 1 == TRANSDUCERS) {
            swept = true;
            return;
        }
        begin_input(input + 1);
    }
    convert();
}

void adc_start(struct transducer *transducers)
{
    blocks = transducers;
    DIDR0 = _BV(ADC0D) | _BV(ADC1D) | _BV(ADC2D);
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
}

void adc_sweep(void)
{
    began_us = ticks_us();
    begin_input(0);
    convert();
}

bool adc_swept(uint32_t *micros)
{
    if (!swept)
        return false;
    swept = false;
    *micros = began_us + (ticks_us() - began_us) / 2;
    return true;
}
