#include "outputs.h"

#include "pins.h"
#include "schedule.h"

static const uint32_t VALVE_HOLD_US = 1000000;

static struct hold buzzer, valve;

static void drive(uint8_t pin, bool on)
{
    if (on)
        PORTB |= (uint8_t)_BV(pin);
    else
        PORTB &= (uint8_t)~_BV(pin);
}

void outputs_start(void)
{
    drive(PIN_VALVE, false);
    drive(PIN_BUZZER, false);
    DDRB |= _BV(PIN_VALVE) | _BV(PIN_BUZZER) | _BV(PIN_MARK);
}

void outputs_beep(uint16_t ms, uint32_t now_us)
{
    hold_start(&buzzer, now_us, 1000UL * ms);
}

void outputs_valve(bool open, uint32_t now_us)
{
    if (open)
        hold_start(&valve, now_us, VALVE_HOLD_US);
    else
        hold_stop(&valve);
}

void outputs_step(uint32_t now_us)
{
    drive(PIN_VALVE, hold_on(&valve, now_us));
    drive(PIN_BUZZER, hold_on(&buzzer, now_us));
}
