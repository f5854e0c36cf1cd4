#include "request.h"

#include <string.h>

#include "crc16.h"

struct reader {
    const char *at, *end;
};

static bool take_char(struct reader *r, char c)
{
    if (r->at == r->end || *r->at != c)
        return false;
    r->at++;
    return true;
}

static bool take_number(struct reader *r, uint32_t most, uint32_t *number)
{
    const char *start = r->at;
    uint32_t n = 0;
    for (; r->at != r->end && *r->at >= '0' && *r->at <= '9'; r->at++) {
        uint8_t digit = (uint8_t)(*r->at - '0');
        if (digit > most || n > (most - digit) / 10)
            return false;
        n = n * 10 + digit;
    }
    *number = n;
    return r->at != start;
}

static bool take_word(struct reader *r, const char *word)
{
    size_t n = strlen(word);
    if ((size_t)(r->end - r->at) < n || memcmp(r->at, word, n) != 0)
        return false;
    r->at += n;
    return true;
}

static int8_t hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return (int8_t)(c - '0');
    return c >= 'A' && c <= 'F' ? (int8_t)(c - 'A' + 10) : -1;
}

/* Whether the line is a whole frame; `body` is then what the checksum covers. */
static bool whole(const char *line, uint8_t length, struct reader *body)
{
    if (length && line[length - 1] == '\r')
        length--;
    if (length < 6 || line[0] != '$' || line[length - 5] != '*')
        return false;
    uint16_t told = 0;
    for (uint8_t i = (uint8_t)(length - 4); i < length; i++) {
        int8_t digit = hex_digit(line[i]);
        if (digit < 0)
            return false;
        told = (uint16_t)(told << 4 | (uint8_t)digit);
    }
    body->at = line + 1;
    body->end = line + length - 5;
    return crc16(body->at, (uint8_t)(length - 6)) == told;
}

/* The one field of a request, which must end the body. */
static bool take_field(struct reader *r, const char *key, uint32_t most, uint16_t *value)
{
    struct reader ahead = *r;
    uint32_t number;
    if (!take_word(&ahead, key) || !take_number(&ahead, most, &number) || ahead.at != ahead.end)
        return false;
    *value = (uint16_t)number;
    return true;
}

static enum request_kind field_kind(struct reader *r, uint16_t *value)
{
    if (take_field(r, "id=", 1, value))
        return *value == 1 ? REQUEST_ID : REQUEST_REFUSED;
    if (take_field(r, "rate=", 80, value))
        return *value == 10 || *value == 80 ? REQUEST_RATE : REQUEST_REFUSED;
    if (take_field(r, "beep=", BEEP_MAX_MS, value))
        return REQUEST_BEEP;
    return take_field(r, "valve=", 1, value) ? REQUEST_VALVE : REQUEST_REFUSED;
}

struct request request_parse(const char *line, uint8_t length)
{
    struct request request = {REQUEST_NOISE, 0, 0};
    struct reader body;
    uint32_t seq, micros;
    if (!whole(line, length, &body) || !take_word(&body, "RQ,"))
        return request;
    if (!take_number(&body, UINT16_MAX, &seq) || !take_char(&body, ','))
        return request;
    if (!take_number(&body, UINT32_MAX, &micros) || !take_char(&body, ','))
        return request;
    request.seq = (uint16_t)seq;
    request.kind = field_kind(&body, &request.value);
    return request;
}
