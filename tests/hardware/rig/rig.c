/* usage: rig FIRMWARE.elf LINK SECONDS EEPROM
 *
 * Runs the firmware on a simulated board whose serial port is the pseudo-terminal LINK, for at most SECONDS or until
 * standard input ends. EEPROM is a file that keeps what the board remembers. Lines on standard input:
 *   code N | stuck -1|0|1 | adc INPUT MILLIVOLTS | probe N SIXTEENTHS | unplug N | brownout N | short 0|1
 *   reset | hang | stat | quit
 * Standard output: "ready", "valve 0|1 SECONDS", "buzzer 0|1 SECONDS", "blow 1 SECONDS" at a reset or hang,
 * "stat {...}"; at simulated seconds. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/sim_elf.h>

#include "rig.h"

enum { HZ = 16000000, SLICE = HZ / 1000, EEPROM_BYTES = 1024, SUPPLY_MV = 5000 };

avr_t *avr;
static uint8_t driven_mask, driven_levels;
static void (*core_reset)(avr_t *);
static bool was_reset, ended;
static int resets;
static struct {
    avr_flashaddr_t at;
    uint8_t opcode[2];
    bool set;
} hang;
static double worst_lag_s, began_s;

avr_cycle_count_t cycles_us(double us)
{
    return (avr_cycle_count_t)(us * (HZ / 1e6));
}

double since_us(avr_cycle_count_t then)
{
    return (double)(avr->cycle - then) / (HZ / 1e6);
}

/* The simulator forgets an input's level at every write to its port, unless it is given as an external pull. */
void drive_d(int pin, int level)
{
    driven_mask |= (uint8_t)(1 << pin);
    driven_levels = (uint8_t)((driven_levels & ~(1 << pin)) | level << pin);
    avr_ioport_external_t external = {.name = 'D', .mask = driven_mask, .value = driven_levels};
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &external);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), (uint32_t)level);
}

void watch_pin(char port, int pin, avr_irq_notify_t notify)
{
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), pin), notify, NULL);
}

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static double simulated_s(void)
{
    return (double)avr->cycle / HZ;
}

static void say_pin(const char *what, uint32_t level, int *last)
{
    if ((int)(level & 1) == *last)
        return;
    *last = level & 1;
    printf("%s %d %.6f\n", what, *last, simulated_s());
    fflush(stdout);
}

static void on_valve(struct avr_irq_t *irq, uint32_t level, void *p)
{
    static int last;
    (void)irq, (void)p;
    say_pin("valve", level, &last);
}

static void on_buzzer(struct avr_irq_t *irq, uint32_t level, void *p)
{
    static int last;
    (void)irq, (void)p;
    say_pin("buzzer", level, &last);
}

/* A part in reset lets go of its pins; the valve's pull-down closes it. */
static void on_reset(avr_t *a)
{
    core_reset(a);
    was_reset = true;
    resets++;
    on_valve(NULL, 0, NULL);
    on_buzzer(NULL, 0, NULL);
    if (hang.set)
        memcpy(a->flash + hang.at, hang.opcode, sizeof hang.opcode);
    hang.set = false;
}

/* Puts a jump to itself where the processor stands. */
static void hang_processor(void)
{
    static const uint8_t jump_to_itself[] = {0xFF, 0xCF};
    hang.at = avr->pc;
    memcpy(hang.opcode, avr->flash + hang.at, sizeof hang.opcode);
    memcpy(avr->flash + hang.at, jump_to_itself, sizeof jump_to_itself);
    hang.set = true;
}

static void say_counts(void)
{
    printf("stat {\"simulated_s\": %.6f, \"wall_s\": %.6f, \"worst_lag_s\": %.6f, \"frames\": %u, \"torn\": %u, "
           "\"missed\": %u, \"power_downs\": %u, \"longest_high_us\": %.3f, \"worst_pass_us\": %.1f, "
           "\"sent_bytes\": %lu, \"lost_bytes\": %lu, \"resets\": %d}\n",
           simulated_s(), now_s() - began_s, worst_lag_s, hx711_counts.frames, hx711_counts.torn, hx711_counts.missed,
           hx711_counts.power_downs, hx711_counts.longest_high_us, worst_pass_us, serial_counts.sent,
           serial_counts.lost, resets);
    fflush(stdout);
}

static void millivolts(int input, int mv)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + input), (uint32_t)mv);
}

static void say_blow(void)
{
    int last = 0;
    say_pin("blow", 1, &last);
}

static bool obey_word(const char *line)
{
    if (!strcmp(line, "reset")) {
        say_blow();
        avr_reset(avr);
    } else if (!strcmp(line, "hang")) {
        say_blow();
        hang_processor();
    } else if (!strcmp(line, "stat")) {
        say_counts();
    } else if (!strcmp(line, "quit")) {
        ended = true;
    } else {
        return false;
    }
    return true;
}

static void obey(const char *line)
{
    int a, b;
    if (obey_word(line))
        return;
    if (sscanf(line, "code %d", &a) == 1)
        hx711_code(a);
    else if (sscanf(line, "stuck %d", &a) == 1)
        hx711_stuck(a);
    else if (sscanf(line, "adc %d %d", &a, &b) == 2 && a >= 0 && a < 8)
        millivolts(a, b);
    else if (sscanf(line, "probe %d %d", &a, &b) == 2 && a >= 0 && a < DS18B20S)
        ds18b20_set(a, true, b);
    else if (sscanf(line, "unplug %d", &a) == 1 && a >= 0 && a < DS18B20S)
        ds18b20_set(a, false, 0);
    else if (sscanf(line, "brownout %d", &a) == 1 && a >= 0 && a < DS18B20S)
        ds18b20_brown_out(a);
    else if (sscanf(line, "short %d", &a) == 1)
        ds18b20_short(a);
    else
        fprintf(stderr, "rig: unknown line: %s\n", line);
}

static void read_control(void)
{
    static char text[4096];
    static size_t length;
    ssize_t n = read(STDIN_FILENO, text + length, sizeof text - 1 - length);
    if (n == 0)
        ended = true;
    if (n <= 0)
        return;
    length += (size_t)n;
    text[length] = 0;
    char *line = text;
    for (char *end; (end = strchr(line, '\n')); line = end + 1) {
        *end = 0;
        obey(line);
    }
    length -= (size_t)(line - text);
    memmove(text, line, length);
}

/* Called when the processor falls asleep; the wall's time is slept away in pace(). */
static void on_sleep(avr_t *a, avr_cycle_count_t cycles)
{
    (void)a, (void)cycles;
    loop_slept();
}

static void pace(avr_cycle_count_t first)
{
    double ahead = began_s + (double)(avr->cycle - first) / HZ - now_s();
    if (ahead > 0) {
        struct timespec t = {(time_t)ahead, (long)((ahead - (double)(time_t)ahead) * 1e9)};
        nanosleep(&t, NULL);
    } else if (-ahead > worst_lag_s) {
        worst_lag_s = -ahead;
    }
}

static bool make_processor(const char *elf)
{
    static elf_firmware_t firmware;
    if (elf_read_firmware(elf, &firmware))
        return false;
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    firmware.frequency = HZ;
    avr_load_firmware(avr, &firmware);
    avr->frequency = HZ;
    avr->vcc = avr->avcc = avr->aref = SUPPLY_MV;
    avr->sleep = on_sleep;
    avr->log = LOG_ERROR;
    core_reset = avr->reset;
    avr->reset = on_reset;
    return true;
}

static void load_eeprom(const char *path)
{
    uint8_t bytes[EEPROM_BYTES];
    memset(bytes, 0xFF, sizeof bytes);
    FILE *file = fopen(path, "rb");
    if (file && fread(bytes, 1, sizeof bytes, file) < sizeof bytes)
        fprintf(stderr, "rig: %s is short, the rest is blank\n", path);
    if (file)
        fclose(file);
    avr_eeprom_desc_t all = {.ee = bytes, .offset = 0, .size = sizeof bytes};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &all);
}

static void store_eeprom(const char *path)
{
    avr_eeprom_desc_t all = {.ee = NULL, .offset = 0, .size = EEPROM_BYTES};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &all);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(all.ee, 1, EEPROM_BYTES, file) < EEPROM_BYTES)
        perror(path);
    if (file)
        fclose(file);
}

static void settle_after_reset(void)
{
    was_reset = false;
    hx711_after_reset();
    ds18b20_after_reset();
}

static int run(double seconds)
{
    avr_cycle_count_t first = avr->cycle, next = first;
    began_s = now_s();
    while (!ended && now_s() - began_s < seconds) {
        for (next += SLICE; avr->cycle < next;) {
            int state = avr_run(avr);
            if (state == cpu_Done || state == cpu_Crashed)
                return 1;
            if (was_reset)
                settle_after_reset();
        }
        pace(first);
        serial_carry();
        read_control();
    }
    return 0;
}

int main(int argc, char **argv)
{
    if (argc != 5 || !make_processor(argv[1]) || !serial_attach(argv[2])) {
        fprintf(stderr, "usage: rig FIRMWARE.elf LINK SECONDS EEPROM\n");
        return 2;
    }
    load_eeprom(argv[4]);
    fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK);
    loop_attach();
    hx711_attach();
    ds18b20_attach();
    watch_pin('B', PIN_VALVE, on_valve);
    watch_pin('B', PIN_BUZZER, on_buzzer);
    for (int input = 0; input < 3; input++)
        millivolts(input, 1000 * (input + 1));
    printf("ready\n");
    fflush(stdout);
    int status = run(atof(argv[3]));
    store_eeprom(argv[4]);
    serial_detach();
    if (status)
        fprintf(stderr, "rig: the processor stopped at %.3f s\n", simulated_s());
    return status;
}
