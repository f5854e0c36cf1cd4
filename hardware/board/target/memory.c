#include "memory.h"

#include <avr/eeprom.h>

#include "boots.h"

static uint16_t EEMEM stored_boots[BOOT_CELLS];
static uint8_t EEMEM stored_slots[PROBES][ROM_BYTES];

uint16_t memory_boot(void)
{
    uint16_t cells[BOOT_CELLS];
    uint8_t cell;
    eeprom_read_block(cells, stored_boots, sizeof cells);
    uint16_t number = boots_next(cells, &cell);
    eeprom_update_word(&stored_boots[cell], number);
    return number;
}

void memory_load_slots(uint8_t slots[PROBES][ROM_BYTES])
{
    eeprom_read_block(slots, stored_slots, sizeof stored_slots);
}

void memory_store_slot(uint8_t slot, const uint8_t rom[ROM_BYTES])
{
    eeprom_update_block(rom, stored_slots[slot], ROM_BYTES);
}
