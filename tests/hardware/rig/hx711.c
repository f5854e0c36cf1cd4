/* An HX711 at its pins, after its data sheet: 24 bits, most significant first; DOUT low when a conversion waits and high
 * from the 25th clock on; four conversions to settle; a clock high for more than 60 us powers it down, its fall resets it.
 * A conversion that ends in the middle of a read reloads the shift register: the word read is torn. */
#include "rig.h"

static struct {
    int32_t code;
    int stuck, sck, level, rate, pulses;
    bool loaded;
    uint32_t shift;
    avr_cycle_count_t rose, due;
} chip = {.code = 123456, .stuck = -1, .level = 1, .rate = 10};

struct hx711_counts hx711_counts;

static void dout(int level)
{
    chip.level = level;
    drive_d(PIN_DOUT, chip.stuck >= 0 ? chip.stuck : level);
}

static avr_cycle_count_t period(void)
{
    return avr->frequency / chip.rate;
}

static avr_cycle_count_t conversion(avr_t *a, avr_cycle_count_t when, void *p)
{
    (void)a, (void)p;
    if (chip.loaded && chip.pulses == 0)
        hx711_counts.missed++;
    else if (chip.loaded && chip.pulses < 24)
        hx711_counts.torn++;
    chip.shift = (uint32_t)chip.code & 0xFFFFFF;
    chip.loaded = true;
    chip.pulses = 0;
    dout(0);
    return chip.due = when + period();
}

static void wait_for(avr_cycle_count_t due)
{
    chip.due = due;
    avr_cycle_timer_cancel(avr, conversion, NULL);
    avr_cycle_timer_register(avr, due > avr->cycle ? due - avr->cycle : 1, conversion, NULL);
}

static void power_up(void)
{
    chip.loaded = false;
    chip.pulses = 0;
    dout(1);
    wait_for(avr->cycle + 4 * period());
}

static void clock_rises(void)
{
    chip.rose = avr->cycle;
    if (!chip.loaded)
        return;
    chip.pulses++;
    if (chip.pulses == 24)
        hx711_counts.frames++;
    dout(chip.pulses > 24 ? 1 : chip.shift >> (24 - chip.pulses) & 1);
}

static void clock_falls(void)
{
    double high = since_us(chip.rose);
    if (high > 60) {
        hx711_counts.power_downs++;
        power_up();
    } else if (high > hx711_counts.longest_high_us) {
        hx711_counts.longest_high_us = high;
    }
}

static void on_sck(struct avr_irq_t *irq, uint32_t level, void *p)
{
    (void)irq, (void)p;
    if ((level & 1) == (uint32_t)chip.sck)
        return;
    chip.sck = level & 1;
    if (chip.sck)
        clock_rises();
    else
        clock_falls();
}

static void on_rate(struct avr_irq_t *irq, uint32_t level, void *p)
{
    (void)irq, (void)p;
    int rate = level & 1 ? 80 : 10;
    if (rate == chip.rate)
        return;
    chip.rate = rate;
    wait_for(avr->cycle + 4 * period());
}

void hx711_attach(void)
{
    watch_pin('D', PIN_SCK, on_sck);
    watch_pin('D', PIN_RATE, on_rate);
    power_up();
}

/* The chip runs on while the processor is reset, but the simulator forgets its timers and pin levels. */
void hx711_after_reset(void)
{
    wait_for(chip.due);
    dout(chip.level);
}

void hx711_code(int32_t code)
{
    chip.code = code;
}

void hx711_stuck(int level)
{
    chip.stuck = level;
    dout(chip.level);
}
