/* Things that fall due, on a microsecond counter that wraps after 71 minutes. */
#ifndef SCHEDULE_H
#define SCHEDULE_H

#include <stdbool.h>
#include <stdint.h>

/* Comes round every `period_us`, at most 30 minutes. */
struct beat {
    uint32_t due_us, period_us;
};

void beat_start(struct beat *beat, uint32_t now_us, uint32_t period_us);

/* Whether the beat fell due; then sets the next one. Beats that were missed are left out, never made up for in a burst. */
bool beat_due(struct beat *beat, uint32_t now_us);

/* On until `length_us` have passed: a buzzer, or a valve whose requests have ceased. */
struct hold {
    bool on;
    uint32_t since_us, length_us;
};

void hold_start(struct hold *hold, uint32_t now_us, uint32_t length_us);
void hold_stop(struct hold *hold);

/* Whether the hold is still on; must be asked at least once in 71 minutes. */
bool hold_on(struct hold *hold, uint32_t now_us);

#endif
