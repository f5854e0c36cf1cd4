#include "dallas_crc.h"

uint8_t dallas_crc(const uint8_t *bytes, uint8_t length)
{
    uint8_t crc = 0;
    while (length--) {
        crc ^= *bytes++;
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = crc & 1 ? crc >> 1 ^ 0x8C : crc >> 1;
    }
    return crc;
}
