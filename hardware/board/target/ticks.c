#include "ticks.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

static volatile uint32_t overflows;

ISR(TIMER1_OVF_vect)
{
    overflows++;
}

EMPTY_INTERRUPT(TIMER0_COMPA_vect)

void ticks_start(void)
{
    TCNT1 = 0;
    TCCR1B = _BV(CS11); /* half a microsecond a count */
    TIMSK1 = _BV(TOIE1);
    TCCR0A = _BV(WGM01);
    OCR0A = 249;
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00); /* 250 counts of 4 us */
}

uint32_t ticks_us(void)
{
    uint32_t high;
    uint16_t low;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        low = TCNT1;
        high = overflows;
        if (TIFR1 & _BV(TOV1) && low < 0x8000)
            high++; /* it wrapped, and its interrupt still waits */
    }
    return (high << 15) + (low >> 1);
}
