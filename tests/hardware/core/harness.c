/* Runs the firmware's portable core on the host: a line in, a line out. Numbers are decimal, bytes hexadecimal. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "boots.h"
#include "crc16.h"
#include "dallas_crc.h"
#include "frame.h"
#include "health.h"
#include "lines.h"
#include "loadcell.h"
#include "probe.h"
#include "request.h"
#include "schedule.h"
#include "search.h"
#include "transducer.h"
#include "valve.h"

static struct loadcell cell;
static struct transducer transducer;
static struct probe probe;
static struct beat beat;
static struct hold hold;
static struct valve valve;
static struct lines lines;
static struct health health;

static char *word(void)
{
    char *w = strtok(NULL, " ");
    return w ? w : "";
}

static long number(void)
{
    return strtol(word(), NULL, 10);
}

static uint32_t us(void)
{
    return (uint32_t)strtoul(word(), NULL, 10);
}

static uint8_t bytes(uint8_t *out)
{
    char *hex = word();
    uint8_t n = 0;
    for (; hex[0] && hex[1]; hex += 2)
        sscanf(hex, "%2hhx", &out[n++]);
    return n;
}

static void do_crc16(void)
{
    uint8_t data[255];
    uint8_t n = bytes(data);
    printf("%04X", crc16((char *)data, n));
}

static void do_dallas(void)
{
    uint8_t data[255];
    uint8_t n = bytes(data);
    printf("%d", dallas_crc(data, n));
}

/* frame TYPE SEQ MICROS then key=number, or key:text */
static void do_frame(void)
{
    struct frame frame;
    char *type = word();
    uint16_t seq = (uint16_t)number();
    frame_begin(&frame, type, seq, us());
    for (char *w = word(); *w; w = word()) {
        char *mark = w + strcspn(w, "=:");
        bool text = *mark == ':';
        *mark = 0;
        if (text)
            frame_text(&frame, w, mark + 1);
        else
            frame_int(&frame, w, (int32_t)strtol(mark + 1, NULL, 10));
    }
    if (frame_end(&frame))
        printf("%.*s", frame.length - 1, frame.text);
    else
        printf("too long");
}

static void do_request(void)
{
    static const char *const names[] = {"noise", "refused", "id", "rate", "beep", "valve"};
    uint8_t data[LINE_MAX_BYTES];
    uint8_t n = bytes(data);
    struct request r = request_parse((char *)data, n);
    printf("%s %u %u", names[r.kind], r.seq, r.value);
}

static void do_lines(void)
{
    uint8_t data[255];
    uint8_t n = bytes(data);
    for (uint8_t i = 0; i < n; i++)
        if (lines_take(&lines, (char)data[i])) {
            for (uint8_t k = 0; k < lines.length; k++)
                printf("%02x", (uint8_t)lines.text[k]);
            printf(" ");
        }
}

/* cell rate PER_SECOND NOW | cell word BITS HIGH READY READ | cell silent NOW LOW; says the code or -, fault and late */
static void do_cell(void)
{
    char *what = word();
    int32_t code = 0;
    bool reading = false;
    if (!strcmp(what, "rate")) {
        uint8_t per_second = (uint8_t)number();
        memset(&cell, 0, sizeof cell);
        loadcell_rate(&cell, per_second, us());
    } else if (!strcmp(what, "word")) {
        struct loadcell_word w;
        w.bits = (uint32_t)number();
        w.high_after = number();
        w.ready_us = us();
        w.read_us = us();
        reading = loadcell_take(&cell, &w, &code);
    } else {
        uint32_t now = us();
        printf("%d ", loadcell_silent(&cell, now, number()));
    }
    if (reading)
        printf("%" PRId32, code);
    else
        printf("-");
    printf(" %u %u", cell.fault, cell.late);
}

/* transducer CONVERSION..., a whole block */
static void do_transducer(void)
{
    uint16_t code;
    transducer_begin(&transducer);
    for (int i = 0; i < TRANSDUCER_BLOCK; i++)
        transducer_add(&transducer, (uint16_t)number());
    if (transducer_end(&transducer, &code))
        printf("%u", code);
    else
        printf("-");
    printf(" %u", transducer.fault);
}

static void do_probe(void)
{
    uint8_t data[255];
    char *hex = word();
    if (!strcmp(hex, "new")) {
        memset(&probe, 0, sizeof probe);
        probe.fault = FAULT_UNKNOWN;
        return;
    }
    for (uint8_t i = 0; i < SCRATCHPAD_BYTES; i++)
        sscanf(hex + 2 * i, "%2hhx", &data[i]);
    if (probe_take(&probe, data))
        printf("%d", probe.last);
    else
        printf("-");
    printf(" %u", probe.fault);
}

/* slot FOUND ROM SLOT SLOT SLOT SLOT SLOT */
static void do_slot(void)
{
    uint8_t slots[PROBES][ROM_BYTES], rom[ROM_BYTES];
    uint8_t found = (uint8_t)number();
    bytes(rom);
    for (uint8_t i = 0; i < PROBES; i++)
        bytes(slots[i]);
    printf("%u", probe_slot(slots, found, rom));
}

/* search ROM...: the whole bus, answered as the wired AND of those still in the game */
static void do_search(void)
{
    uint8_t roms[16][ROM_BYTES];
    int n = 0;
    while (n < 16 && bytes(roms[n]) == ROM_BYTES)
        n++;
    struct search search;
    search_start(&search);
    for (int pass = 0; pass < 20 && !search.last; pass++) {
        bool in[16];
        memset(in, 1, sizeof in);
        search_pass(&search);
        while (search.bit < SEARCH_BITS) {
            uint8_t at = search.bit;
            bool bit = true, complement = true;
            for (int i = 0; i < n; i++) {
                bool own = roms[i][at / 8] >> at % 8 & 1;
                bit = bit && (!in[i] || own);
                complement = complement && (!in[i] || !own);
            }
            uint8_t way = search_bit(&search, bit, complement);
            if (way == SEARCH_FAILED)
                return;
            for (int i = 0; i < n; i++)
                in[i] = in[i] && (roms[i][at / 8] >> at % 8 & 1) == way;
        }
        for (int i = 0; i < ROM_BYTES; i++)
            printf("%02x", search.rom[i]);
        printf(" ");
    }
}

static void do_beat(void)
{
    char *what = word();
    uint32_t now = us();
    if (!strcmp(what, "start"))
        beat_start(&beat, now, us());
    else
        printf("%d", beat_due(&beat, now));
}

static void do_hold(void)
{
    char *what = word();
    uint32_t now = us();
    if (!strcmp(what, "start"))
        hold_start(&hold, now, us());
    else if (!strcmp(what, "stop"))
        hold_stop(&hold);
    printf("%d", hold_on(&hold, now));
}

/* valve start NOW | valve open NOW | valve close NOW | valve ask NOW; says whether obeyed, and whether open then */
static void do_valve(void)
{
    char *what = word();
    uint32_t now = us();
    bool obeyed = true;
    if (!strcmp(what, "start"))
        valve_start(&valve, now);
    else if (strcmp(what, "ask"))
        obeyed = valve_request(&valve, !strcmp(what, "open"), now);
    printf("%d %d", obeyed, valve_open(&valve, now));
}

/* boots COUNT: the numbers of so many boots from blank cells, and how often the most written cell was written */
static void do_boots(void)
{
    uint16_t cells[BOOT_CELLS];
    unsigned writes[BOOT_CELLS] = {0}, most = 0;
    memset(cells, 0xFF, sizeof cells);
    for (long left = number(), last = -1; left > 0; left--) {
        uint8_t cell_number;
        uint16_t boot = boots_next(cells, &cell_number);
        if (boot == last || boot == BOOT_BLANK)
            printf("repeated %u ", boot);
        last = boot;
        cells[cell_number] = boot;
        if (++writes[cell_number] > most)
            most = writes[cell_number];
    }
    printf("%u %u", cells[boots_newest(cells)], most);
}

static void do_health(void)
{
    char *what = word();
    if (!strcmp(what, "start")) {
        health_start(&health);
    } else if (!strcmp(what, "all")) {
        health_tell_all(&health);
    } else if (!strcmp(what, "told")) {
        health.untold = 0;
    } else {
        uint8_t channel = (uint8_t)number();
        health_set(&health, channel, (uint8_t)number());
    }
    printf("%u", health.untold);
}

static const struct {
    const char *name;
    void (*run)(void);
} commands[] = {
    {"crc16", do_crc16}, {"dallas", do_dallas}, {"frame", do_frame},   {"request", do_request},
    {"lines", do_lines}, {"cell", do_cell},     {"probe", do_probe},   {"transducer", do_transducer},
    {"slot", do_slot},   {"search", do_search}, {"beat", do_beat},     {"hold", do_hold},
    {"boots", do_boots}, {"health", do_health}, {"valve", do_valve},
};

int main(void)
{
    static char line[4096];
    while (fgets(line, sizeof line, stdin)) {
        line[strcspn(line, "\n")] = 0;
        char *name = strtok(line, " ");
        for (size_t i = 0; name && i < sizeof commands / sizeof *commands; i++)
            if (!strcmp(name, commands[i].name))
                commands[i].run();
        printf("\n");
        fflush(stdout);
    }
    return 0;
}
