/* What the host asks of the board. */
#ifndef REQUEST_H
#define REQUEST_H

#include <stdbool.h>
#include <stdint.h>

enum request_kind {
    REQUEST_NOISE,   /* no request of ours, or a torn one: no answer, its number cannot be trusted */
    REQUEST_REFUSED, /* whole, yet not something this board does: answered ok=0 */
    REQUEST_ID,
    REQUEST_RATE,
    REQUEST_BEEP,
    REQUEST_VALVE
};

enum { BEEP_MAX_MS = 10000 };

struct request {
    enum request_kind kind;
    uint16_t seq;
    uint16_t value; /* conversions a second, milliseconds, or 0|1 */
};

/* Reads one line, its line feed taken off. */
struct request request_parse(const char *line, uint8_t length);

#endif
