#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

/* The longest sentences of an instant, an identity and a key fit at once. */
enum { SENT_SIZE = 384, RECEIVED_SIZE = 64 };

static volatile uint16_t sent_in, sent_out;
static volatile uint8_t received_in, received_out;
static char sent[SENT_SIZE];
static uint8_t received[RECEIVED_SIZE];

static uint16_t after(uint16_t place)
{
    return place + 1 == SENT_SIZE ? 0 : place + 1;
}

ISR(USART_UDRE_vect)
{
    UDR0 = (uint8_t)sent[sent_out];
    sent_out = after(sent_out);
    if (sent_out == sent_in)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
}

ISR(USART_RX_vect)
{
    const uint8_t byte = UDR0;
    const uint8_t next = (received_in + 1) & (RECEIVED_SIZE - 1);
    if (next != received_out) {
        received[received_in] = byte;
        received_in = next;
    }
}

void uart_start(void)
{
    UCSR0A = _BV(U2X0); /* 117647 baud: 2.1 % fast, within what 8N1 bears */
    UBRR0 = (F_CPU / 8 + UART_BAUD / 2) / UART_BAUD - 1;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

bool uart_send(void *unused, const char *text, uint8_t length)
{
    (void)unused;
    uint16_t in = sent_in, out;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { out = sent_out; }
    const uint16_t waiting = in >= out ? in - out : in + SENT_SIZE - out;
    if (length >= SENT_SIZE - waiting)
        return false;
    while (length--) {
        sent[in] = *text++;
        in = after(in);
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        sent_in = in;
        UCSR0B |= _BV(UDRIE0);
    }
    return true;
}

int16_t uart_next(void)
{
    if (received_out == received_in)
        return -1;
    const uint8_t byte = received[received_out];
    received_out = (received_out + 1) & (RECEIVED_SIZE - 1);
    return byte;
}
