#include "hx711.h"

#include <avr/interrupt.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "pins.h"
#include "ticks.h"

enum { DATA_BITS = 24, POWER_DOWN_US = 80 }; /* one more clock asks for input A at gain 128 */

static volatile bool ready;
static volatile uint32_t ready_us;

/* The falling edge is the end of a conversion: the moment of sampling, whatever the main loop is busy with. */
ISR(INT0_vect)
{
    ready_us = ticks_us();
    ready = true;
}

static void note_edge(uint32_t at_us)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        ready_us = at_us;
        ready = true;
    }
}

static void watch_edge(void)
{
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);
}

bool hx711_dout_low(void)
{
    return !(PIND & _BV(PIN_DOUT));
}

void hx711_start(void)
{
    PORTD |= _BV(PIN_DOUT); /* pulled up: a chip that is not there reads as not ready */
    DDRD |= _BV(PIN_SCK) | _BV(PIN_RATE);
    EICRA = _BV(ISC01);
    hx711_restart();
}

void hx711_rate(uint8_t per_second)
{
    if (per_second == 80)
        PORTD |= _BV(PIN_RATE);
    else
        PORTD &= ~_BV(PIN_RATE);
}

void hx711_restart(void)
{
    EIMSK = 0;
    PORTD |= _BV(PIN_SCK);
    _delay_us(POWER_DOWN_US);
    PORTD &= ~_BV(PIN_SCK);
    _delay_us(1);
    ready = false;
    watch_edge();
}

/* Interrupts wait while the clock is high: above 50 us the chip may take it for a power-down. */
static bool clock_bit(void)
{
    bool level;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        PORTD |= _BV(PIN_SCK);
        _delay_us(1);
        level = PIND & _BV(PIN_DOUT);
        PORTD &= ~_BV(PIN_SCK);
    }
    _delay_us(1);
    return level;
}

static void clock_word(struct loadcell_word *word)
{
    word->bits = 0;
    for (uint8_t i = 0; i < DATA_BITS; i++)
        word->bits = word->bits << 1 | clock_bit();
    word->high_after = clock_bit();
}

bool hx711_read(struct loadcell_word *word)
{
    if (!ready || !hx711_dout_low())
        return false;
    EIMSK = 0; /* data bits are edges too */
    word->ready_us = ready_us;
    clock_word(word);
    word->read_us = ticks_us();
    ready = false;
    watch_edge();
    if (word->high_after && hx711_dout_low())
        note_edge(word->read_us); /* the next conversion ended between the last clock and the watch */
    return true;
}
