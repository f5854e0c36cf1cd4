/* Frames on their way out: one at a time, numbered, whole or not at all. */
#ifndef LINK_H
#define LINK_H

#include <stdint.h>

#include "frame.h"

/* Begins the next frame. */
struct frame *link_begin(const char *type, uint32_t micros);

/* Sends it. Without room in the port's ring it is dropped and counted; the gap in the numbers tells the host. */
void link_send(void);

uint16_t link_dropped(void);

#endif
