#include "probes.h"

#include <string.h>

#include "memory.h"
#include "onewire.h"
#include "schedule.h"
#include "search.h"

enum { SEARCH_ROM = 0xF0, SKIP_ROM = 0xCC, MATCH_ROM = 0x55, CONVERT = 0x44, READ_SCRATCHPAD = 0xBE };

static const uint32_t CONVERSION_US = 750000, CYCLE_US = 1000000;

static enum { FINDING, FINDING_BITS, RESTING, STARTING, CONVERTING, READING } state;
static uint8_t slots[PROBES][ROM_BYTES];
static struct probe probes[PROBES];
static struct search search;
static struct beat cycle;
static uint32_t converting_since_us;
static uint8_t found, current, fresh, taken;
static bool searched;

static void find_next(void)
{
    static const uint8_t command[] = {SEARCH_ROM};
    search_pass(&search);
    onewire_start(command, sizeof command, 0);
    state = FINDING;
}

void probes_start(uint32_t now_us)
{
    memory_load_slots(slots);
    for (uint8_t i = 0; i < PROBES; i++)
        probes[i].fault = FAULT_UNKNOWN;
    beat_start(&cycle, now_us, CYCLE_US);
    search_start(&search);
    find_next();
}

static void end_search(void)
{
    searched = true;
    state = RESTING;
}

static void place_found(void)
{
    uint8_t slot = rom_valid(search.rom) ? probe_slot(slots, found, search.rom) : PROBES;
    if (slot == PROBES)
        return;
    found |= (uint8_t)(1 << slot);
    memcpy(slots[slot], search.rom, ROM_BYTES);
    memory_store_slot(slot, search.rom);
}

/* Two readings and an answer for each bit of a number. */
static void find_bit(void)
{
    bool bit = onewire_slot(true);
    bool complement = onewire_slot(true);
    uint8_t way = search_bit(&search, bit, complement);
    if (way == SEARCH_FAILED) {
        end_search();
        return;
    }
    onewire_slot(way);
    if (search.bit < SEARCH_BITS)
        return;
    place_found();
    if (search.last)
        end_search();
    else
        find_next();
}

static void start_cycle(void)
{
    static const uint8_t command[] = {SKIP_ROM, CONVERT};
    onewire_start(command, sizeof command, 0);
    state = STARTING;
}

/* Reads the next slot that has a probe, or ends the cycle. */
static void read_from(uint8_t slot)
{
    while (slot < PROBES && !probes_has(slot))
        slot++;
    current = slot;
    if (slot == PROBES) {
        taken = fresh;
        state = RESTING;
        return;
    }
    uint8_t command[ONEWIRE_SEND_MAX] = {MATCH_ROM};
    memcpy(command + 1, slots[slot], ROM_BYTES);
    command[ROM_BYTES + 1] = READ_SCRATCHPAD;
    onewire_start(command, sizeof command, SCRATCHPAD_BYTES);
    state = READING;
}

static void read_all(void)
{
    fresh = 0;
    read_from(0);
}

/* A bus on which nobody answers is judged as every probe saying all ones, a shorted one as all zeros. */
static void bus_fails(enum onewire_result result)
{
    uint8_t scratchpad[SCRATCHPAD_BYTES];
    memset(scratchpad, result == ONEWIRE_SHORTED ? 0 : 0xFF, sizeof scratchpad);
    for (uint8_t i = 0; i < PROBES; i++)
        if (probes_has(i))
            probe_take(&probes[i], scratchpad);
    state = RESTING;
}

static void bus_done(uint32_t now_us)
{
    if (state == FINDING) {
        state = FINDING_BITS;
    } else if (state == STARTING) {
        converting_since_us = now_us;
        state = CONVERTING;
    } else {
        if (probe_take(&probes[current], onewire_received()))
            fresh |= (uint8_t)(1 << current);
        read_from(current + 1);
    }
}

static void bus_step(uint32_t now_us)
{
    enum onewire_result result = onewire_step(now_us);
    if (result == ONEWIRE_DONE)
        bus_done(now_us);
    else if (result != ONEWIRE_BUSY && state == FINDING)
        end_search();
    else if (result != ONEWIRE_BUSY)
        bus_fails(result);
}

bool probes_step(uint32_t now_us)
{
    if (state == FINDING_BITS)
        find_bit();
    else if (state == CONVERTING && now_us - converting_since_us >= CONVERSION_US)
        read_all();
    else if (state == RESTING && beat_due(&cycle, now_us))
        start_cycle();
    else if (state == FINDING || state == STARTING || state == READING)
        bus_step(now_us);
    return state != RESTING && state != CONVERTING;
}

bool probes_searched(void)
{
    return searched;
}

bool probes_has(uint8_t i)
{
    return rom_valid(slots[i]);
}

const struct probe *probes_get(uint8_t i)
{
    return &probes[i];
}

uint8_t probes_take_new(void)
{
    uint8_t mask = taken;
    taken = 0;
    return mask;
}
