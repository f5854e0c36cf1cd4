/* The 8-bit checksum of one-wire parts: x^8 + x^5 + x^4 + 1, reflected, start 0. */
#ifndef DALLAS_CRC_H
#define DALLAS_CRC_H

#include <stdint.h>

/* 0 over bytes that end with their own checksum. */
uint8_t dallas_crc(const uint8_t *bytes, uint8_t length);

#endif
