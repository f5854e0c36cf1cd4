/* DS18B20 probes on one bus, after their data sheet: presence after a reset, search, match and skip of the ROM, a
 * conversion of 750 ms at 12 bits, the scratchpad with its checksum; +85 degrees until the first conversion. */
#include <string.h>

#include "rig.h"

enum mode { IDLE, ROM_COMMAND, SEARCH, MATCH, FUNCTION_COMMAND, SEND_SCRATCHPAD };

struct device {
    bool present;
    int sixteenths;       /* what it would measure now */
    uint8_t rom[8];
    uint8_t scratchpad[9];
    enum mode mode;
    int bit, phase;       /* of the bits received or sent; of the three slots of a search bit */
    uint8_t command;
    avr_cycle_count_t converting_since; /* 0: not converting */
};

static struct device devices[DS18B20S];
static bool master_low, shorted;
static avr_cycle_count_t fell;

static uint8_t crc8(const uint8_t *bytes, int length)
{
    uint8_t crc = 0;
    for (int i = 0; i < 8 * length; i++) {
        int mix = (crc ^ bytes[i / 8] >> i % 8) & 1;
        crc = (uint8_t)(crc >> 1 ^ (mix ? 0x8C : 0));
    }
    return crc;
}

static void fill_scratchpad(struct device *d, int sixteenths)
{
    uint8_t bytes[9] = {(uint8_t)sixteenths, (uint8_t)(sixteenths >> 8), 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0};
    bytes[8] = crc8(bytes, 8);
    memcpy(d->scratchpad, bytes, sizeof bytes);
}

static void finish_conversion(struct device *d)
{
    if (d->converting_since && since_us(d->converting_since) >= 750000) {
        d->converting_since = 0;
        fill_scratchpad(d, d->sixteenths);
    }
}

static void line(int level)
{
    drive_d(PIN_ONEWIRE, shorted ? 0 : level);
}

static avr_cycle_count_t release(avr_t *a, avr_cycle_count_t when, void *p)
{
    (void)a, (void)when, (void)p;
    line(1);
    return 0;
}

static void pull_for(double us)
{
    line(0);
    avr_cycle_timer_cancel(avr, release, NULL);
    avr_cycle_timer_register(avr, cycles_us(us), release, NULL);
}

static avr_cycle_count_t presence(avr_t *a, avr_cycle_count_t when, void *p)
{
    (void)a, (void)when, (void)p;
    pull_for(100);
    return 0;
}

/* The bit a device sends in this slot, 1 (it leaves the line alone) when it sends none. */
static int sent_bit(const struct device *d)
{
    if (d->mode == SEARCH && d->phase < 2)
        return (d->rom[d->bit / 8] >> d->bit % 8 & 1) ^ d->phase;
    if (d->mode == SEND_SCRATCHPAD && d->bit < 72)
        return d->scratchpad[d->bit / 8] >> d->bit % 8 & 1;
    return 1;
}

static void rom_command(struct device *d)
{
    d->mode = d->command == 0xF0 ? SEARCH : d->command == 0x55 ? MATCH : d->command == 0xCC ? FUNCTION_COMMAND : IDLE;
    d->bit = d->phase = 0;
}

static void function_command(struct device *d)
{
    finish_conversion(d);
    d->mode = d->command == 0xBE ? SEND_SCRATCHPAD : IDLE;
    d->bit = 0;
    if (d->command == 0x44)
        d->converting_since = avr->cycle;
}

static void take_command_bit(struct device *d, int bit)
{
    d->command = (uint8_t)(d->command >> 1 | bit << 7);
    if (++d->bit < 8)
        return;
    if (d->mode == ROM_COMMAND)
        rom_command(d);
    else
        function_command(d);
}

/* A device whose number differs falls silent until the next reset. */
static void take_rom_bit(struct device *d, int bit, enum mode after)
{
    if ((d->rom[d->bit / 8] >> d->bit % 8 & 1) != bit)
        d->mode = IDLE;
    else if (++d->bit == 64) {
        d->mode = after;
        d->bit = 0;
    }
}

static void take_slot(struct device *d, int bit)
{
    if (d->mode == ROM_COMMAND || d->mode == FUNCTION_COMMAND)
        take_command_bit(d, bit);
    else if (d->mode == MATCH)
        take_rom_bit(d, bit, FUNCTION_COMMAND);
    else if (d->mode == SEND_SCRATCHPAD)
        d->bit++;
    else if (d->mode == SEARCH && d->phase++ == 2) {
        d->phase = 0;
        take_rom_bit(d, bit, IDLE);
    }
}

static void master_falls(void)
{
    fell = avr->cycle;
    for (int i = 0; i < DS18B20S; i++)
        if (devices[i].present && sent_bit(&devices[i]) == 0)
            pull_for(30);
}

static void reset_bus(void)
{
    bool any = false;
    for (int i = 0; i < DS18B20S; i++) {
        devices[i].mode = devices[i].present ? ROM_COMMAND : IDLE;
        devices[i].bit = 0;
        any = any || devices[i].present;
    }
    if (any)
        avr_cycle_timer_register(avr, cycles_us(30), presence, NULL);
}

static void master_rises(void)
{
    double low = since_us(fell);
    if (low >= 480) {
        reset_bus();
        return;
    }
    for (int i = 0; i < DS18B20S; i++)
        if (devices[i].present)
            take_slot(&devices[i], low < 15);
}

static void on_direction(struct avr_irq_t *irq, uint32_t ddr, void *p)
{
    (void)irq, (void)p;
    bool low = ddr >> PIN_ONEWIRE & 1; /* the board only ever pulls low or lets go */
    if (low == master_low)
        return;
    master_low = low;
    if (low)
        master_falls();
    else
        master_rises();
}

void ds18b20_attach(void)
{
    for (int i = 0; i < DS18B20S; i++) {
        uint8_t rom[8] = {0x28, (uint8_t)(0x5A + 0x31 * i), 0x11, 0x0C, (uint8_t)(3 - i), 0, 0, 0};
        rom[7] = crc8(rom, 7);
        memcpy(devices[i].rom, rom, sizeof rom);
        ds18b20_brown_out(i);
    }
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_DIRECTION_ALL), on_direction,
                            NULL);
    line(1);
}

void ds18b20_after_reset(void)
{
    master_low = false;
    line(1);
}

void ds18b20_set(int number, bool present, int sixteenths)
{
    devices[number].present = present;
    devices[number].sixteenths = sixteenths;
}

void ds18b20_brown_out(int number)
{
    devices[number].mode = IDLE;
    devices[number].converting_since = 0;
    fill_scratchpad(&devices[number], 85 * 16);
}

void ds18b20_short(bool is)
{
    shorted = is;
    line(1);
}
