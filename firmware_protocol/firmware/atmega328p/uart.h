/* The serial port, both ways through interrupts: 115200 baud, 8N1. */
#ifndef UART_H
#define UART_H

#include <stdbool.h>
#include <stdint.h>

#define UART_BAUD 115200UL

void uart_start(void);
/* Queues all of it, or nothing when there is no room. */
bool uart_send(void *unused, const char *text, uint8_t length);
/* The next byte received, or -1. */
int16_t uart_next(void);

#endif
