/* Buzzer and valve. Both are off without power to their pins; the valve is closed then. */
#ifndef OUTPUTS_H
#define OUTPUTS_H

#include <stdbool.h>
#include <stdint.h>

void outputs_start(void);
void outputs_beep(uint16_t ms, uint32_t now_us);

/* Opens the valve for 1,000 ms from now, or closes it at once. Whether it does (see valve.h). */
bool outputs_valve(bool open, uint32_t now_us);

/* Ends what has run out. */
void outputs_step(uint32_t now_us);

#endif
