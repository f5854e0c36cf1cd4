/* Builds one frame: $<type>,<seq>,<micros>,<key=value,...>*<crc>\n */
#ifndef FRAME_H
#define FRAME_H

#include <stdbool.h>
#include <stdint.h>

enum { FRAME_MAX = 160 }; /* bytes in all, the line feed among them */

struct frame {
    char text[FRAME_MAX];
    uint8_t length;
    bool too_long;
};

/* Starts a frame of a two-letter type. */
void frame_begin(struct frame *frame, const char *type, uint16_t seq, uint32_t micros);

/* Adds ",key=value". */
void frame_int(struct frame *frame, const char *key, int32_t value);

/* Adds ",key=text"; characters that would break the frame (',', '*', '$', controls) become '-'. */
void frame_text(struct frame *frame, const char *key, const char *text);

/* Appends text as it is: for a value put together from parts, after frame_text. */
void frame_append(struct frame *frame, const char *text);

/* Adds the checksum and the line feed. False when the frame does not fit and must not be sent. */
bool frame_end(struct frame *frame);

#endif
