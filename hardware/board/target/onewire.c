#include "onewire.h"

#include <string.h>

#include <util/atomic.h>
#include <util/delay.h>

#include "pins.h"

enum { RESET_US = 500, RECOVERY_US = 480 };

static struct {
    enum { RESETTING, RECOVERING, TRANSFERRING } state;
    uint32_t since_us;
    uint8_t bytes[ONEWIRE_SEND_MAX + ONEWIRE_RECEIVE_MAX];
    uint8_t send_bytes, bits, bit;
    bool low_began, present;
} bus;

static void pull_low(void)
{
    DDRD |= _BV(PIN_ONEWIRE);
}

static void let_go(void)
{
    DDRD &= ~_BV(PIN_ONEWIRE);
}

static bool high(void)
{
    return PIND & _BV(PIN_ONEWIRE);
}

void onewire_start(const uint8_t *bytes, uint8_t send, uint8_t receive)
{
    memcpy(bus.bytes, bytes, send);
    memset(bus.bytes + send, 0xFF, receive); /* ones sent are slots to be answered */
    bus.send_bytes = send;
    bus.bits = (uint8_t)(8 * (send + receive));
    bus.bit = 0;
    bus.low_began = false;
    bus.state = RESETTING;
}

bool onewire_slot(bool bit)
{
    bool level = false;
    if (bit) {
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE) /* an interrupt in these 14 us would turn a 1 into a 0 */
        {
            pull_low();
            _delay_us(2);
            let_go();
            _delay_us(10);
            level = high();
        }
        _delay_us(50);
    } else {
        pull_low();
        _delay_us(65);
        let_go();
        _delay_us(5);
    }
    return level;
}

/* Every part answers a reset by pulling the bus low for 60 us or more, beginning 15 to 60 us after it: looking all the
 * while finds it whatever interrupts come between. */
static bool look_for_presence(void)
{
    bool present = false;
    _delay_us(10);
    for (uint8_t i = 0; i < 100; i++) {
        if (!high())
            present = true;
        _delay_us(0.5);
    }
    return present;
}

static enum onewire_result reset_step(uint32_t now_us)
{
    if (!bus.low_began) {
        pull_low();
        bus.low_began = true;
        bus.since_us = now_us;
    } else if (now_us - bus.since_us >= RESET_US) {
        let_go();
        bus.present = look_for_presence();
        bus.since_us = now_us;
        bus.state = RECOVERING;
    }
    return ONEWIRE_BUSY;
}

static enum onewire_result recovery_step(uint32_t now_us)
{
    if (now_us - bus.since_us < RECOVERY_US)
        return ONEWIRE_BUSY;
    if (!high())
        return ONEWIRE_SHORTED;
    if (!bus.present)
        return ONEWIRE_ABSENT;
    bus.state = TRANSFERRING;
    return bus.bits ? ONEWIRE_BUSY : ONEWIRE_DONE;
}

static enum onewire_result transfer_step(void)
{
    uint8_t *byte = &bus.bytes[bus.bit >> 3];
    uint8_t mask = (uint8_t)(1 << (bus.bit & 7));
    bool level = onewire_slot(*byte & mask);
    if (bus.bit >= 8 * bus.send_bytes && !level)
        *byte &= (uint8_t)~mask;
    return ++bus.bit == bus.bits ? ONEWIRE_DONE : ONEWIRE_BUSY;
}

enum onewire_result onewire_step(uint32_t now_us)
{
    if (bus.state == RESETTING)
        return reset_step(now_us);
    return bus.state == RECOVERING ? recovery_step(now_us) : transfer_step();
}

const uint8_t *onewire_received(void)
{
    return bus.bytes + bus.send_bytes;
}
