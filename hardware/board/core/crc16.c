#include "crc16.h"

/* One byte at a time without a table: about 30 cycles on an 8-bit part, against 100 for a loop over the bits. */
uint16_t crc16_byte(uint16_t crc, uint8_t byte)
{
    uint8_t x = (uint8_t)(crc >> 8) ^ byte;
    x ^= x >> 4;
    return (uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x;
}

uint16_t crc16(const char *bytes, uint8_t length)
{
    uint16_t crc = CRC16_START;
    for (uint8_t i = 0; i < length; i++)
        crc = crc16_byte(crc, (uint8_t)bytes[i]);
    return crc;
}
