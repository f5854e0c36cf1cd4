/* Gathers received bytes into lines. */
#ifndef LINES_H
#define LINES_H

#include <stdbool.h>
#include <stdint.h>

enum { LINE_MAX_BYTES = 64 }; /* the longest request has 38 */

struct lines {
    char text[LINE_MAX_BYTES];
    uint8_t length;
    bool skipping; /* the line began with noise or grew too long */
};

/* Takes one byte. True when it ended a line that is worth parsing: `text` then holds `length` bytes of it, until the
 * next call. A '$' begins a line anew wherever it comes, so that noise before a frame costs nothing. */
bool lines_take(struct lines *lines, char c);

#endif
