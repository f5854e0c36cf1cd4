/* The one-wire bus, a bit at a time, so that no pass of the main loop waits for a whole transaction. */
#ifndef ONEWIRE_H
#define ONEWIRE_H

#include <stdbool.h>
#include <stdint.h>

enum onewire_result { ONEWIRE_BUSY, ONEWIRE_DONE, ONEWIRE_ABSENT, ONEWIRE_SHORTED };

enum { ONEWIRE_SEND_MAX = 10, ONEWIRE_RECEIVE_MAX = 9 };

/* Begins a transaction: reset, `send` bytes out, `receive` bytes in. */
void onewire_start(const uint8_t *bytes, uint8_t send, uint8_t receive);

/* Carries it on by one step of at most 0.12 ms. */
enum onewire_result onewire_step(uint32_t now_us);

/* The bytes received. */
const uint8_t *onewire_received(void);

/* One time slot: sends a bit; after sending 1 the level of the bus is what a part answers. */
bool onewire_slot(bool bit);

#endif
