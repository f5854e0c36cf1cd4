#include "probe.h"

#include <string.h>

#include "dallas_crc.h"

enum { POWER_ON = 85 * 16, NEAR = 10 * 16, MISSES_ALLOWED = 3 };

static bool all_bytes(const uint8_t *bytes, uint8_t length, uint8_t value)
{
    while (length--)
        if (*bytes++ != value)
            return false;
    return true;
}

static bool refuse(struct probe *probe, uint8_t fault)
{
    if (probe->misses < MISSES_ALLOWED)
        probe->misses++;
    if (probe->misses == MISSES_ALLOWED)
        probe->fault = fault;
    return false;
}

bool probe_take(struct probe *probe, const uint8_t scratchpad[SCRATCHPAD_BYTES])
{
    if (all_bytes(scratchpad, SCRATCHPAD_BYTES, 0xFF))
        return refuse(probe, FAULT_OPEN); /* nobody answered */
    if (all_bytes(scratchpad, SCRATCHPAD_BYTES, 0))
        return refuse(probe, FAULT_SHORTED); /* zeros have a right checksum, yet no probe says them */
    if (dallas_crc(scratchpad, SCRATCHPAD_BYTES) != 0)
        return refuse(probe, FAULT_NOT_READY);
    int16_t reading = (int16_t)(scratchpad[0] | (uint16_t)scratchpad[1] << 8);
    bool known = probe->fault == FAULT_NONE;
    if (reading == POWER_ON && !(known && probe->last > POWER_ON - NEAR && probe->last < POWER_ON + NEAR))
        return refuse(probe, FAULT_NOT_READY);
    probe->last = reading;
    probe->misses = 0;
    probe->fault = FAULT_NONE;
    return true;
}

bool rom_valid(const uint8_t rom[ROM_BYTES])
{
    return rom[0] == ROM_FAMILY && dallas_crc(rom, ROM_BYTES) == 0;
}

uint8_t probe_slot(uint8_t slots[PROBES][ROM_BYTES], uint8_t found, const uint8_t rom[ROM_BYTES])
{
    for (uint8_t i = 0; i < PROBES; i++)
        if (memcmp(slots[i], rom, ROM_BYTES) == 0)
            return i;
    for (uint8_t i = 0; i < PROBES; i++)
        if (!rom_valid(slots[i]))
            return i;
    for (uint8_t i = 0; i < PROBES; i++)
        if (!(found >> i & 1))
            return i;
    return PROBES;
}
