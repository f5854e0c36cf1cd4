#include "outputs.h"

#include "pins.h"
#include "ticks.h"
#include "valve.h"

static struct hold buzzer;
static struct valve valve;

static void drive(uint8_t pin, bool on)
{
    if (on)
        PORTB |= (uint8_t)_BV(pin);
    else
        PORTB &= (uint8_t)~_BV(pin);
}

void outputs_start(void)
{
    valve_start(&valve, ticks_us());
    drive(PIN_VALVE, false);
    drive(PIN_BUZZER, false);
    DDRB |= _BV(PIN_VALVE) | _BV(PIN_BUZZER) | _BV(PIN_MARK);
}

void outputs_beep(uint16_t ms, uint32_t now_us)
{
    hold_start(&buzzer, now_us, 1000UL * ms);
}

bool outputs_valve(bool open, uint32_t now_us)
{
    return valve_request(&valve, open, now_us);
}

void outputs_step(uint32_t now_us)
{
    drive(PIN_VALVE, valve_open(&valve, now_us));
    drive(PIN_BUZZER, hold_on(&buzzer, now_us));
}
