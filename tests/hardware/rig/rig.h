/* A simulated ATmega328P with parts on its pins, paced to wall time. Test source only: built where it runs. */
#ifndef RIG_H
#define RIG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <simavr/avr_ioport.h>
#include <simavr/sim_avr.h>

enum { PIN_DOUT = 2, PIN_SCK = 3, PIN_RATE = 4, PIN_ONEWIRE = 5 };  /* port D */
enum { PIN_VALVE = 0, PIN_BUZZER = 1, PIN_MARK = 5 };               /* port B */

extern avr_t *avr;

/* Cycles of the simulated clock. */
avr_cycle_count_t cycles_us(double us);
double since_us(avr_cycle_count_t then);

/* Drives a pin of port D from outside. */
void drive_d(int pin, int level);

/* Calls `notify` at every change of a port's pin. */
void watch_pin(char port, int pin, avr_irq_notify_t notify);

/* hx711.c */
struct hx711_counts {
    unsigned frames, torn, missed, power_downs;
    double longest_high_us; /* of the clock, power-downs left out */
};
extern struct hx711_counts hx711_counts;
void hx711_attach(void);
void hx711_after_reset(void);
void hx711_code(int32_t code);
void hx711_stuck(int level); /* 0, 1, or -1 for a sound line */

/* ds18b20.c */
enum { DS18B20S = 3 };
void ds18b20_attach(void);
void ds18b20_after_reset(void);
void ds18b20_set(int number, bool present, int sixteenths);
void ds18b20_brown_out(int number);
void ds18b20_short(bool shorted);

/* serial.c */
struct serial_counts {
    unsigned long sent, lost;
};
extern struct serial_counts serial_counts;
bool serial_attach(const char *link);
void serial_carry(void);
void serial_detach(void);

/* loop.c */
extern double worst_pass_us;
void loop_attach(void);
void loop_slept(void);

#endif
