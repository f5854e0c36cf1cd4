#include "lines.h"

static void begin(struct lines *lines)
{
    lines->length = 0;
    lines->skipping = false;
}

bool lines_take(struct lines *lines, char c)
{
    if (lines->length && lines->text[lines->length - 1] == '\n')
        lines->length = 0;
    if (c == '$')
        begin(lines);
    else if (lines->length == 0)
        lines->skipping = true;
    if (lines->skipping)
        return false;
    if (lines->length == LINE_MAX_BYTES) {
        lines->length = 0;
        lines->skipping = true;
        return false;
    }
    lines->text[lines->length++] = c;
    return c == '\n';
}
