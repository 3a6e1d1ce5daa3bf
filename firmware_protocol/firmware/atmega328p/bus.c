#include "bus.h"

#include <avr/io.h>
#include <util/delay.h>

enum {
    STARTED = 0x08,
    STARTED_AGAIN = 0x10,
    WRITE_ADDRESS_TAKEN = 0x18,
    BYTE_TAKEN = 0x28,
    READ_ADDRESS_TAKEN = 0x40,
    STATUS = 0xF8,
    SDA = _BV(PC4),
    SCL = _BV(PC5)
};

/* A byte takes 22.5 us at 400 kHz; this many turns of the loop take about 130 us. */
enum { TURNS = 255 };

static bool settled(uint8_t control)
{
    TWCR = control | _BV(TWINT) | _BV(TWEN);
    for (uint8_t turn = TURNS; turn; turn--)
        if (TWCR & _BV(TWINT))
            return true;
    return false;
}

static bool start(uint8_t expected)
{
    return settled(_BV(TWSTA)) && (TWSR & STATUS) == expected;
}

static bool put(uint8_t byte, uint8_t expected)
{
    TWDR = byte;
    return settled(0) && (TWSR & STATUS) == expected;
}

static bool stop(bool done)
{
    TWCR = _BV(TWINT) | _BV(TWEN) | _BV(TWSTO);
    for (uint8_t turn = TURNS; turn && (TWCR & _BV(TWSTO)); turn--)
        ;
    if (!done) {
        TWCR = 0; /* whatever state the failure left behind */
        TWCR = _BV(TWEN);
    }
    return done;
}

void bus_start(void)
{
    TWSR = 0;
    TWBR = (F_CPU / 400000UL - 16) / 2;
    TWCR = _BV(TWEN);
}

bool bus_write(uint8_t address, uint8_t at, uint8_t value)
{
    return stop(start(STARTED) && put((uint8_t)(address << 1), WRITE_ADDRESS_TAKEN) &&
                put(at, BYTE_TAKEN) && put(value, BYTE_TAKEN));
}

bool bus_read(uint8_t address, uint8_t at, uint8_t *into, uint8_t count)
{
    bool well = start(STARTED) && put((uint8_t)(address << 1), WRITE_ADDRESS_TAKEN) &&
                put(at, BYTE_TAKEN) && start(STARTED_AGAIN) &&
                put((uint8_t)(address << 1 | 1), READ_ADDRESS_TAKEN);
    while (well && count--) {
        well = settled(count ? _BV(TWEA) : 0);
        *into++ = TWDR;
    }
    return stop(well);
}

bool bus_is_stuck(void)
{
    TWCR = 0;
    _delay_us(5);
    const bool stuck = (PINC & (SDA | SCL)) != (SDA | SCL);
    TWCR = _BV(TWEN);
    return stuck;
}

void bus_recover(void)
{
    TWCR = 0;
    PORTC &= (uint8_t)~(SDA | SCL);
    for (uint8_t pulse = 0; pulse < 9; pulse++) {
        DDRC |= SCL;
        _delay_us(5);
        DDRC &= (uint8_t)~SCL;
        _delay_us(5);
    }
    DDRC |= SDA; /* a stop: the data line rises while the clock is high */
    _delay_us(5);
    DDRC &= (uint8_t)~SDA;
    _delay_us(5);
    bus_start();
}
