#include "link.h"

#include "uart.h"

static struct frame frame;
static uint16_t next_seq, dropped;

struct frame *link_begin(const char *type, uint32_t micros)
{
    frame_begin(&frame, type, next_seq++, micros);
    return &frame;
}

void link_send(void)
{
    if (!frame_end(&frame) || !uart_send(frame.text, frame.length))
        dropped++;
}

uint16_t link_dropped(void)
{
    return dropped;
}
