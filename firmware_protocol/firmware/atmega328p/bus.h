/* I2C as master, polled at 400 kHz, every wait bounded. */
#ifndef BUS_H
#define BUS_H

#include <stdbool.h>
#include <stdint.h>

void bus_start(void);
/* False when nobody answers, or a line does not move within its time. */
bool bus_write(uint8_t address, uint8_t at, uint8_t value);
bool bus_read(uint8_t address, uint8_t at, uint8_t *into, uint8_t count);
/* Whether a line is held low while nobody should hold it. */
bool bus_is_stuck(void);
/* Clocks a slave that was cut off in mid-byte until it lets go, and starts afresh. */
void bus_recover(void);

#endif
