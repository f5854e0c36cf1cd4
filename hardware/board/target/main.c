/* The sensor board: reads, tells, and does as asked. One pass of the loop takes each task as far as it goes without
 * waiting; the watchdog resets a board that hangs, and a reset closes the valve. */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "adc.h"
#include "channels.h"
#include "health.h"
#include "hx711.h"
#include "lines.h"
#include "link.h"
#include "loadcell.h"
#include "memory.h"
#include "outputs.h"
#include "pins.h"
#include "probes.h"
#include "request.h"
#include "schedule.h"
#include "ticks.h"
#include "transducer.h"
#include "uart.h"

_Static_assert(sizeof BOARD_NAME <= 33, "a board's name has 32 characters at most: the ID frame must fit");

static const uint32_t SWEEP_US = 100000;

static struct loadcell cell;
static struct transducer transducers[TRANSDUCERS];
static struct health health;
static struct lines lines;
static struct beat sweep;
static uint16_t boot;
static bool announced;

/* After a watchdog reset the watchdog runs on at its shortest time, and start-up code must not meet it. */
__attribute__((naked, used, section(".init3"))) void stop_watchdog(void)
{
    MCUSR = 0;
    wdt_disable();
}

static void set_rate(uint8_t per_second)
{
    hx711_rate(per_second);
    loadcell_rate(&cell, per_second, ticks_us());
}

static void tell_id(void)
{
    struct frame *frame = link_begin("ID", ticks_us());
    frame_text(frame, "fw", FIRMWARE_VERSION);
    frame_int(frame, "proto", 1);
    frame_text(frame, "board", BOARD_NAME);
    frame_int(frame, "boot", boot);
    frame_text(frame, "ch", channel_name(CH_W));
    for (uint8_t i = CH_W + 1; i < CHANNELS; i++) {
        if (i >= CH_T1 && !probes_has(i - CH_T1))
            continue;
        frame_append(frame, "+");
        frame_append(frame, channel_name(i));
    }
    frame_int(frame, "dropped", link_dropped());
    frame_int(frame, "late", cell.late);
    link_send();
}

/* A sensor's health goes before its readings: the host takes none from a sensor that it believes ill. */
static void tell_health(void)
{
    if (!health.untold || !announced)
        return;
    struct frame *frame = link_begin("ST", ticks_us());
    for (uint8_t i = 0; i < CHANNELS; i++)
        if (health.untold >> i & 1)
            frame_int(frame, channel_name(i), health.fault[i]);
    health.untold = 0;
    link_send();
}

static void load_cell_task(void)
{
    struct loadcell_word word;
    int32_t code;
    bool reading = false;
    if (hx711_read(&word)) {
        reading = loadcell_take(&cell, &word, &code);
        if (!word.high_after)
            hx711_restart();
    } else if (loadcell_silent(&cell, ticks_us(), hx711_dout_low())) {
        hx711_restart();
    } else {
        return;
    }
    health_set(&health, CH_W, cell.fault);
    tell_health();
    if (reading && announced) {
        frame_int(link_begin("SM", word.ready_us), channel_name(CH_W), code);
        link_send();
    }
}

/* One frame with the readings of the channels in `mask`, bit 0 being `first`. */
static void tell_readings(uint8_t first, uint8_t mask, const int16_t *readings, uint32_t micros)
{
    tell_health();
    if (!mask || !announced)
        return;
    struct frame *frame = link_begin("SM", micros);
    for (uint8_t i = 0; mask >> i; i++)
        if (mask >> i & 1)
            frame_int(frame, channel_name(first + i), readings[i]);
    link_send();
}

static void transducer_task(void)
{
    uint32_t micros;
    if (beat_due(&sweep, ticks_us()))
        adc_sweep();
    if (!adc_swept(&micros))
        return;
    int16_t codes[TRANSDUCERS];
    uint8_t mask = 0;
    for (uint8_t i = 0; i < TRANSDUCERS; i++) {
        uint16_t code = 0;
        if (transducer_end(&transducers[i], &code))
            mask |= (uint8_t)(1 << i);
        codes[i] = (int16_t)code;
        health_set(&health, CH_LO + i, transducers[i].fault);
    }
    tell_readings(CH_LO, mask, codes, micros);
}

static void tell_probes(void)
{
    int16_t readings[PROBES];
    for (uint8_t i = 0; i < PROBES; i++) {
        readings[i] = probes_get(i)->last;
        if (probes_has(i))
            health_set(&health, CH_T1 + i, probes_get(i)->fault);
    }
    tell_readings(CH_T1, probes_take_new(), readings, ticks_us());
}

static void obey(const struct request *request)
{
    uint32_t now_us = ticks_us();
    bool obeyed = request->kind != REQUEST_REFUSED;
    if (request->kind == REQUEST_RATE)
        set_rate((uint8_t)request->value);
    else if (request->kind == REQUEST_BEEP)
        outputs_beep(request->value, now_us);
    else if (request->kind == REQUEST_VALVE)
        obeyed = outputs_valve(request->value, now_us);
    struct frame *frame = link_begin("AK", now_us);
    frame_int(frame, "seq", request->seq);
    frame_int(frame, "ok", obeyed);
    link_send();
    if (request->kind == REQUEST_ID) {
        tell_id();
        health_tell_all(&health);
    }
}

/* At most one request a pass: the ring keeps the rest. */
static void request_task(void)
{
    char c;
    while (announced && uart_receive(&c)) {
        if (!lines_take(&lines, c))
            continue;
        struct request request = request_parse(lines.text, lines.length - 1);
        if (request.kind != REQUEST_NOISE)
            obey(&request);
        return;
    }
}

/* Every other frame waits for the first ID, and that for the search which says what channels there are. */
static void announce(void)
{
    if (announced || !probes_searched())
        return;
    announced = true;
    tell_id();
}

static void start(void)
{
    ticks_start();
    outputs_start();
    uart_start();
    sei();
    boot = memory_boot();
    health_start(&health);
    hx711_start();
    set_rate(80);
    adc_start(transducers);
    beat_start(&sweep, ticks_us(), SWEEP_US);
    probes_start(ticks_us());
    set_sleep_mode(SLEEP_MODE_IDLE);
    wdt_enable(WDTO_250MS);
}

int main(void)
{
    start();
    for (;;) {
        wdt_reset();
        PINB = _BV(PIN_MARK);
        load_cell_task();
        transducer_task();
        request_task();
        outputs_step(ticks_us());
        bool busy = probes_step(ticks_us());
        announce();
        tell_probes();
        if (!busy)
            sleep_mode(); /* a millisecond at most; any interrupt ends it */
    }
}
