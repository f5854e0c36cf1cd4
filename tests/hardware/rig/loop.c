/* How long one pass of the firmware's main loop works: from the mark it sets at its start to its sleep, or to its next mark. */
#include "rig.h"

double worst_pass_us;
static avr_cycle_count_t mark;
static bool marked;

static void end_pass(void)
{
    if (marked && since_us(mark) > worst_pass_us)
        worst_pass_us = since_us(mark);
    marked = false;
}

static void on_mark(struct avr_irq_t *irq, uint32_t level, void *p)
{
    (void)irq, (void)level, (void)p;
    end_pass();
    mark = avr->cycle;
    marked = true;
}

void loop_attach(void)
{
    watch_pin('B', PIN_MARK, on_mark);
}

void loop_slept(void)
{
    end_pass();
}
