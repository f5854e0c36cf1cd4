#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

/* Out, the answer to an ID request and the samples meanwhile must find room at once. In, an eight-bit index wraps by
 * itself. Each index is written by one side alone. */
enum { OUT_BYTES = 512 };
static char out[OUT_BYTES], in[256];
static volatile uint16_t out_head, out_tail;
static volatile uint8_t in_head, in_tail;

ISR(USART_UDRE_vect)
{
    uint16_t tail = out_tail;
    if (out_head == tail) {
        UCSR0B &= ~_BV(UDRIE0);
        return;
    }
    UDR0 = out[tail];
    out_tail = (tail + 1) % OUT_BYTES;
}

ISR(USART_RX_vect)
{
    char byte = UDR0;
    if ((uint8_t)(in_head + 1) != in_tail)
        in[in_head++] = byte;
}

void uart_start(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = 16; /* 117,647 bit/s: 2.1 % fast, within what both ends forgive */
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(TXEN0) | _BV(RXEN0) | _BV(RXCIE0);
}

static uint16_t room(void)
{
    uint16_t tail;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        tail = out_tail;
    }
    return (uint16_t)(tail + OUT_BYTES - out_head - 1) % OUT_BYTES;
}

bool uart_send(const char *bytes, uint8_t length)
{
    if (length > room())
        return false;
    uint16_t head = out_head;
    for (uint8_t i = 0; i < length; i++) {
        out[head] = bytes[i];
        head = (head + 1) % OUT_BYTES;
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        out_head = head;
        UCSR0B |= _BV(UDRIE0);
    }
    return true;
}

bool uart_receive(char *byte)
{
    if (in_head == in_tail)
        return false;
    *byte = in[in_tail++];
    return true;
}
