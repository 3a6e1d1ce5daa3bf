/* The vector file (as generated/vectors.h) through the core's writers and its receiver. The same
 * program runs on the host, under the sanitizers, and on the emulated chip. */
#include <string.h>

#include "../core/receiver.h"
#include "../core/wire.h"

#ifdef __AVR__
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#define IN_FLASH PROGMEM
#define FLASH_BYTE(at) pgm_read_byte(at)
#else
#include <stdio.h>
#define IN_FLASH
#define FLASH_BYTE(at) (*(at))
#endif

#include "../generated/vectors.h"

static uint16_t at, cases, failures;
static char name[64];
static struct hl_line line;

static void say(const char *text)
{
#ifdef __AVR__
    for (; *text; text++) {
        while (!(UCSR0A & _BV(UDRE0)))
            ;
        UDR0 = (uint8_t)*text;
    }
#else
    fputs(text, stdout);
#endif
}

static void say_number(uint16_t number)
{
    char digits[6] = "";
    uint8_t i = 5;
    do {
        digits[--i] = (char)('0' + number % 10);
        number /= 10;
    } while (number);
    say(digits + i);
}

static uint8_t next_byte(void)
{
    return FLASH_BYTE(VECTORS + at++);
}

static int32_t next_number(void)
{
    uint32_t number = 0;
    for (uint8_t i = 0; i < 4; i++)
        number |= (uint32_t)next_byte() << (8 * i);
    return (int32_t)number;
}

static uint8_t next_text(char *text)
{
    const uint8_t length = next_byte();
    for (uint8_t i = 0; i < length; i++)
        text[i] = (char)next_byte();
    text[length] = '\0';
    return length;
}

static void expect(bool right)
{
    cases++;
    if (right)
        return;
    failures++;
    say("differs: ");
    say(name);
    say("\n");
}

static void writes(void)
{
    static char expected[130], text[3][64];
    const uint8_t length = next_text(expected);
    const char kind = (char)next_byte();
    int32_t v[8];
    uint8_t texts = 0;
    for (uint8_t i = 0, count = next_byte(); i < count; i++)
        v[i] = next_number();
    for (uint8_t count = next_byte(); texts < count; texts++)
        next_text(text[texts]);
    const uint16_t seq = (uint16_t)v[0];
    const uint32_t t_ms = (uint32_t)v[1];
    switch (kind) {
    case 'I': {
        const struct hl_identity identity = {(uint16_t)v[0], text[0], text[1], text[2]};
        hl_write_identity(&line, &identity, (uint8_t)v[1], (uint8_t)v[2]);
        break;
    }
    case 'A': {
        const struct hl_attitude attitude = {v[2], v[3], v[4], (uint8_t)v[5]};
        hl_write_attitude(&line, seq, t_ms, &attitude);
        break;
    }
    case 'M':
        hl_write_raw_field(&line, seq, t_ms, v + 2, v + 5);
        break;
    case 'G':
        hl_write_raw_rate(&line, seq, t_ms, v + 2, v[5]);
        break;
    case 'K':
        hl_write_key(&line, seq, t_ms, (uint8_t)v[2], v[3]);
        break;
    default:
        hl_write_fault(&line, (uint32_t)v[0], (enum hl_fault)v[1], text[0]);
        break;
    }
    expect(line.length == length + 2 && memcmp(line.text, expected, length) == 0 &&
           memcmp(line.text + length, "\r\n", 2) == 0);
}

static bool came_out(const struct hl_command *command)
{
    const uint8_t kind = next_byte(), reason = next_byte();
    const uint8_t rate_hz = next_byte(), streams = next_byte(), cue = next_byte();
    if (command->kind != (enum hl_received)kind)
        return false;
    switch (command->kind) {
    case HL_REFUSED: return command->reason == (enum hl_reason)reason;
    case HL_CONFIGURE: return command->rate_hz == rate_hz && command->streams == streams;
    case HL_CUE: return command->cue == (enum hl_cue)cue;
    default: return true;
    }
}

static void reads(void)
{
    static char text[150];
    const uint8_t length = next_text(text);
    const struct hl_command command = hl_read_sentence(text, length);
    expect(came_out(&command));
}

static void streams(void)
{
    static struct hl_receiver receiver;
    hl_receiver_start(&receiver);
    bool right = true;
    uint16_t left = next_byte();
    left |= (uint16_t)(next_byte() << 8);
    uint8_t pieces = next_byte();
    const uint16_t bytes_at = at;
    uint16_t pieces_at = (uint16_t)(at + left);
    for (uint16_t i = 0; i <= left; i++) {
        struct hl_command command;
        if (i < left) {
            at = (uint16_t)(bytes_at + i);
            command = hl_receive(&receiver, next_byte());
        } else {
            command = hl_receive_end(&receiver);
        }
        if (command.kind == HL_NOTHING_YET)
            continue;
        at = pieces_at;
        right = pieces && came_out(&command) && right;
        if (!pieces)
            break;
        pieces--;
        pieces_at = at;
    }
    at = (uint16_t)(pieces_at + 5 * pieces);
    expect(right && !pieces);
}

int main(void)
{
#ifdef __AVR__
    UCSR0A = _BV(U2X0);
    UBRR0 = 16;
    UCSR0B = _BV(TXEN0);
#endif
    const char *digits = "123456789";
    strcpy(name, "check value");
    expect(hl_check(digits, 9) == 0x29B1 && hl_checksum(digits, 9) == 0x31);
    for (uint8_t part = next_byte(); part; part = next_byte()) {
        next_text(name);
        if (part == 'W')
            writes();
        else if (part == 'R')
            reads();
        else
            streams();
    }
    say_number(cases);
    say(" cases, ");
    say_number(failures);
    say(" differ\n");
#ifdef __AVR__
    while (!(UCSR0A & _BV(UDRE0)))
        ;
    cli();
    sleep_enable();
    sleep_cpu();
#endif
    return failures != 0;
}
