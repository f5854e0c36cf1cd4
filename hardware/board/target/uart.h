/* Serial port, 115,200 bit/s 8N1, on interrupts. */
#ifndef UART_H
#define UART_H

#include <stdbool.h>
#include <stdint.h>

void uart_start(void);

/* Queues bytes, all or none. False when there is no room. */
bool uart_send(const char *bytes, uint8_t length);

/* Takes one received byte. False when there is none. */
bool uart_receive(char *byte);

#endif
