#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

/* Rings of 256 bytes: eight-bit indices wrap by themselves and are read and written in one go. */
static char out[256], in[256];
static volatile uint8_t out_head, out_tail, in_head, in_tail;

ISR(USART_UDRE_vect)
{
    if (out_head == out_tail)
        UCSR0B &= ~_BV(UDRIE0);
    else
        UDR0 = out[out_tail++];
}

ISR(USART_RX_vect)
{
    char byte = UDR0;
    if ((uint8_t)(in_head + 1) != in_tail)
        in[in_head++] = byte;
}

void uart_start(void)
{
    UBRR0 = 16; /* 117,647 bit/s: 2.1 % fast, within what both ends forgive */
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(TXEN0) | _BV(RXEN0) | _BV(RXCIE0);
}

bool uart_send(const char *bytes, uint8_t length)
{
    uint8_t room = out_tail - out_head - 1;
    if (length > room)
        return false;
    uint8_t head = out_head;
    for (uint8_t i = 0; i < length; i++)
        out[head++] = bytes[i];
    out_head = head;
    UCSR0B |= _BV(UDRIE0);
    return true;
}

bool uart_receive(char *byte)
{
    if (in_head == in_tail)
        return false;
    *byte = in[in_tail++];
    return true;
}
