/* Where everything hangs on the ATmega328P; the wiring diagrams carry the same names. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Port D: 0 and 1 are the UART. */
enum { PIN_DOUT = PD2, PIN_SCK = PD3, PIN_RATE = PD4, PIN_ONEWIRE = PD5 };

/* Port B. The mark changes level at every pass of the main loop: a scope on it shows the loop time. */
enum { PIN_VALVE = PB0, PIN_BUZZER = PB1, PIN_MARK = PB5 };

/* Analogue inputs ADC0, ADC1, ADC2 are lo, hi, va, in the order of enum channel. */

#endif
