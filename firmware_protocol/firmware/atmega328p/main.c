/* The board layer for the ATmega328P at 16 MHz: clock, keys, cue, watchdog, and the loop that
 * joins them with the serial port, the sensor and the portable core. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "../core/board.h"
#include "bus.h"
#include "sensor.h"
#include "uart.h"

enum {
    TRIGGER = _BV(PD2),
    MARK = _BV(PD3),
    CUE = _BV(PB5),
    SERIAL_NUMBER_SIZE = 8,
    RETRY_MS = 1000,
    RATE_HZ = 50
};

static struct hl_board board;
static volatile uint8_t ticks;
static uint8_t reset_cause __attribute__((section(".noinit")));
static char serial_number[SERIAL_NUMBER_SIZE + 1];

/* After a watchdog reset the watchdog still runs, at its shortest time: stop it before anything
 * else can take longer. */
void stop_watchdog(void) __attribute__((naked, used, section(".init3")));
void stop_watchdog(void)
{
    reset_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

ISR(TIMER0_COMPA_vect)
{
    ticks++;
}

static void start_clock(void)
{
    TCCR0A = _BV(WGM01);            /* count to OCR0A and begin again */
    TCCR0B = _BV(CS01) | _BV(CS00); /* 250 kHz */
    OCR0A = 249;                    /* 1 kHz */
    TIMSK0 = _BV(OCIE0A);
}

/* The first bytes of the EEPROM, as far as they are printable */
static void read_serial_number(void)
{
    for (uint8_t i = 0; i < SERIAL_NUMBER_SIZE; i++) {
        const uint8_t byte = eeprom_read_byte((const uint8_t *)(uintptr_t)i);
        if (byte < 0x20 || byte > 0x7E)
            break;
        serial_number[i] = (char)byte;
    }
}

static void start_board(void)
{
    const struct hl_board_setup setup = {
        .identity = {HL_PROTOCOL, "atmega328p", serial_number, FIRMWARE_VERSION},
        .baud = UART_BAUD,
        .highest_rate_hz = sensor_highest_rate_hz,
        .lowest = &sensor_lowest,
        .rate_hz = RATE_HZ,
        .streams = HL_STREAM_A | HL_STREAM_M | HL_STREAM_G,
        .watchdog_restart = reset_cause & _BV(WDRF),
        .send = uart_send,
    };
    hl_board_start(&board, &setup);
}

static void measure(void)
{
    static uint8_t answering;
    static uint16_t tried_ms = (uint16_t)-RETRY_MS;
    struct hl_measurement measurement;

    if (answering != SENSOR_ALL && (uint16_t)(board.t_ms - tried_ms) >= RETRY_MS) {
        tried_ms = (uint16_t)board.t_ms;
        const bool stuck = bus_is_stuck();
        hl_board_condition(&board, HL_BUS_STUCK, stuck);
        if (stuck)
            bus_recover();
        answering |= sensor_start(SENSOR_ALL & (uint8_t)~answering);
    }
    answering = sensor_measure(answering, &measurement);
    hl_board_condition(&board, HL_MOTION_SILENT, !(answering & SENSOR_MOTION));
    hl_board_condition(&board, HL_MAGNETOMETER_SILENT, !(answering & SENSOR_MAGNETOMETER));
    hl_board_measured(&board, &measurement);
}

static void show_cue(void)
{
    if (hl_board_cue_is_on(&board))
        PORTB |= CUE;
    else
        PORTB &= (uint8_t)~CUE;
}

static uint8_t pressed_keys(void)
{
    const uint8_t low = (uint8_t)~PIND;
    return (uint8_t)((low & TRIGGER ? 1 : 0) | (low & MARK ? 2 : 0));
}

static void one_tick(void)
{
    if (hl_board_tick(&board, pressed_keys()))
        measure();
    show_cue();
}

int main(void)
{
    PORTD |= TRIGGER | MARK; /* pulled up, pressed is low */
    DDRB |= CUE;
    read_serial_number();
    uart_start();
    bus_start();
    start_clock();
    start_board();
    set_sleep_mode(SLEEP_MODE_IDLE);
    wdt_enable(WDTO_250MS);
    sei();
    for (;;) {
        int16_t byte;
        while ((byte = uart_next()) >= 0)
            hl_board_received(&board, (uint8_t)byte);
        cli();
        if (!ticks) {
            sleep_enable();
            sei(); /* takes effect after the next instruction: nothing can slip between */
            sleep_cpu();
            sleep_disable();
        } else {
            ticks--;
            sei();
            wdt_reset(); /* only where time goes on: a dead clock ends in the watchdog */
            one_tick();
        }
    }
}
