#include "frame.h"

#include "crc16.h"

static void put(struct frame *frame, char c)
{
    if (frame->length == FRAME_MAX) {
        frame->too_long = true;
        return;
    }
    frame->text[frame->length++] = c;
}

/* Counted subtraction: a 32-bit division costs an 8-bit part some 600 cycles a digit. */
static void put_unsigned(struct frame *frame, uint32_t value)
{
    static const uint32_t tens[] = {1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10};
    bool started = false;
    for (uint8_t i = 0; i < sizeof tens / sizeof *tens; i++) {
        char digit = '0';
        while (value >= tens[i]) {
            value -= tens[i];
            digit++;
        }
        started = started || digit != '0';
        if (started)
            put(frame, digit);
    }
    put(frame, (char)('0' + value));
}

static void put_key(struct frame *frame, const char *key)
{
    put(frame, ',');
    frame_append(frame, key);
    put(frame, '=');
}

void frame_append(struct frame *frame, const char *text)
{
    while (*text)
        put(frame, *text++);
}

void frame_begin(struct frame *frame, const char *type, uint16_t seq, uint32_t micros)
{
    frame->length = 0;
    frame->too_long = false;
    put(frame, '$');
    frame_append(frame, type);
    put(frame, ',');
    put_unsigned(frame, seq);
    put(frame, ',');
    put_unsigned(frame, micros);
}

void frame_int(struct frame *frame, const char *key, int32_t value)
{
    put_key(frame, key);
    if (value < 0)
        put(frame, '-');
    put_unsigned(frame, value < 0 ? 0 - (uint32_t)value : (uint32_t)value);
}

void frame_text(struct frame *frame, const char *key, const char *text)
{
    put_key(frame, key);
    for (; *text; text++) {
        bool breaks = *text == ',' || *text == '*' || *text == '$' || *text < ' ' || *text > '~';
        put(frame, breaks ? '-' : *text);
    }
}

bool frame_end(struct frame *frame)
{
    static const char hex[] = "0123456789ABCDEF";
    uint16_t crc = crc16(frame->text + 1, (uint8_t)(frame->length - 1));
    put(frame, '*');
    for (int8_t shift = 12; shift >= 0; shift -= 4)
        put(frame, hex[crc >> shift & 0xF]);
    put(frame, '\n');
    return !frame->too_long;
}
