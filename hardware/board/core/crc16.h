/* CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xFFFF, no reflection, no final XOR; 29B1 for "123456789". */
#ifndef CRC16_H
#define CRC16_H

#include <stdint.h>

enum { CRC16_START = 0xFFFF };

/* The checksum `crc` carried on over one more byte. */
uint16_t crc16_byte(uint16_t crc, uint8_t byte);

/* The checksum of `length` bytes. */
uint16_t crc16(const char *bytes, uint8_t length);

#endif
