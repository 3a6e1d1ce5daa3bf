#include "wire.h"

#include <string.h>

#include "table.h"

enum {
    HEADING_HIGHEST = 35999,
    TILT_HIGHEST = 18000,
    PITCH_HIGHEST = 9000,
    FIELD_HIGHEST = 160000,
    FORCE_HIGHEST = 160000,
    TEMPERATURE_LOWEST = -1000,
    TEMPERATURE_HIGHEST = 2000
};
#define RATE_HIGHEST 400000L

static const char HEX[] = "0123456789ABCDEF";

uint16_t hl_check(const char *bytes, uint8_t length)
{
    /* Polynomial 0x1021, four bits at a time: 32 bytes of table instead of 512 */
    static const uint16_t step[16] HL_TABLE = {
        0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
        0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF};
    uint16_t crc = 0xFFFF;
    while (length--) {
        const uint8_t byte = (uint8_t)*bytes++;
        crc = (uint16_t)((uint16_t)(crc << 4) ^ HL_WORD_AT(&step[(crc >> 12) ^ (byte >> 4)]));
        crc = (uint16_t)((uint16_t)(crc << 4) ^ HL_WORD_AT(&step[(crc >> 12) ^ (byte & 15)]));
    }
    return crc;
}

uint8_t hl_checksum(const char *bytes, uint8_t length)
{
    uint8_t sum = 0;
    while (length--)
        sum ^= (uint8_t)*bytes++;
    return sum;
}

static void put(struct hl_line *line, char c)
{
    if (line->length < HL_LONGEST_WRITTEN)
        line->text[line->length++] = c;
    else
        line->too_long = true;
}

static void put_hex(struct hl_line *line, uint8_t byte)
{
    put(line, HEX[byte >> 4]);
    put(line, HEX[byte & 15]);
}

static void put_word(struct hl_line *line, const char *word)
{
    while (*word)
        put(line, *word++);
}

static void begin(struct hl_line *line, char kind)
{
    line->length = 0;
    line->too_long = false;
    put_word(line, "$PHLG");
    put(line, kind);
}

static uint8_t end(struct hl_line *line)
{
    const uint16_t crc = hl_check(line->text + 1, (uint8_t)(line->length - 1));
    put(line, ',');
    put_hex(line, (uint8_t)(crc >> 8));
    put_hex(line, (uint8_t)crc);
    const uint8_t sum = hl_checksum(line->text + 1, (uint8_t)(line->length - 1));
    put(line, '*');
    put_hex(line, sum);
    put(line, '\r');
    put(line, '\n');
    if (line->too_long)
        line->length = 0;
    line->text[line->length] = '\0';
    return line->length;
}

/* Digits without leading zeros, at least `least` of them. Taking powers of ten away is several
 * times faster than dividing on a processor without a divider. */
static void put_digits(struct hl_line *line, uint32_t value, uint8_t least)
{
    static const uint32_t powers[10] HL_TABLE = {
        1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10, 1};
    bool begun = false;
    for (uint8_t i = 0; i < 10; i++) {
        const uint32_t power = HL_LONG_AT(&powers[i]);
        char digit = '0';
        while (value >= power) {
            value -= power;
            digit++;
        }
        begun = begun || digit != '0' || i + least >= 10;
        if (begun)
            put(line, digit);
    }
}

static void put_unsigned(struct hl_line *line, uint32_t value)
{
    put(line, ',');
    put_digits(line, value, 1);
}

static uint32_t put_sign(struct hl_line *line, int32_t value)
{
    if (value >= 0)
        return (uint32_t)value;
    put(line, '-');
    return 0U - (uint32_t)value;
}

static void put_whole(struct hl_line *line, int32_t value, int32_t low, int32_t high)
{
    put(line, ',');
    if (value < low || value > high)
        return;
    put_digits(line, put_sign(line, value), 1);
}

static void put_hundredths(struct hl_line *line, int32_t value, int32_t low, int32_t high)
{
    put(line, ',');
    if (value < low || value > high)
        return;
    put_digits(line, put_sign(line, value), 3);
    if (line->length < 3 || line->too_long)
        return;
    const char last = line->text[line->length - 1];
    line->text[line->length - 1] = line->text[line->length - 2];
    line->text[line->length - 2] = '.';
    put(line, last);
}

static void put_text(struct hl_line *line, const char *text)
{
    put(line, ',');
    for (; *text; text++) {
        const uint8_t byte = (uint8_t)*text;
        if (byte < 0x20 || byte > 0x7E || strchr("$*,\\^", *text)) {
            put(line, '^');
            put_hex(line, byte);
        } else {
            put(line, *text);
        }
    }
}

static void put_streams(struct hl_line *line, uint8_t streams)
{
    put(line, ',');
    if (streams & HL_STREAM_A)
        put(line, 'A');
    if (streams & HL_STREAM_M)
        put(line, 'M');
    if (streams & HL_STREAM_G)
        put(line, 'G');
}

static void begin_instant(struct hl_line *line, char kind, uint16_t seq, uint32_t t_ms)
{
    begin(line, kind);
    put_unsigned(line, seq);
    put_unsigned(line, t_ms);
}

static void put_vector(struct hl_line *line, const int32_t vector[3], int32_t highest)
{
    for (uint8_t axis = 0; axis < 3; axis++)
        put_whole(line, vector[axis], -highest, highest);
}

uint8_t hl_write_identity(struct hl_line *line, const struct hl_identity *identity,
                          uint8_t rate_hz, uint8_t streams)
{
    begin(line, 'I');
    put_unsigned(line, identity->protocol);
    put_text(line, identity->board);
    put_text(line, identity->serial_number);
    put_text(line, identity->firmware);
    put_unsigned(line, rate_hz);
    put_streams(line, streams);
    return end(line);
}

uint8_t hl_write_attitude(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                          const struct hl_attitude *attitude)
{
    begin_instant(line, 'A', seq, t_ms);
    put_hundredths(line, attitude->heading_cdeg, 0, HEADING_HIGHEST);
    put_hundredths(line, attitude->tilt_cdeg, -TILT_HIGHEST, TILT_HIGHEST);
    put_hundredths(line, attitude->pitch_cdeg, -PITCH_HIGHEST, PITCH_HIGHEST);
    put(line, ',');
    put(line, HEX[attitude->status & 15]);
    return end(line);
}

uint8_t hl_write_raw_field(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                           const int32_t field[3], const int32_t force[3])
{
    begin_instant(line, 'M', seq, t_ms);
    put_vector(line, field, FIELD_HIGHEST);
    put_vector(line, force, FORCE_HIGHEST);
    return end(line);
}

uint8_t hl_write_raw_rate(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                          const int32_t rate[3], int32_t temperature)
{
    begin_instant(line, 'G', seq, t_ms);
    put_vector(line, rate, RATE_HIGHEST);
    put_whole(line, temperature, TEMPERATURE_LOWEST, TEMPERATURE_HIGHEST);
    return end(line);
}

uint8_t hl_write_key(struct hl_line *line, uint16_t seq, uint32_t t_ms, uint8_t key, bool down)
{
    begin_instant(line, 'K', seq, t_ms);
    put_unsigned(line, key);
    put(line, ',');
    put(line, down ? 'D' : 'U');
    return end(line);
}

uint8_t hl_write_fault(struct hl_line *line, uint32_t t_ms, enum hl_fault fault, const char *text)
{
    static const char *const codes[] = {"SENSOR", "RANGE", "CONFIG", "OVERRUN"};
    begin(line, 'E');
    put_unsigned(line, t_ms);
    put(line, ',');
    put_word(line, codes[fault]);
    put_text(line, text);
    return end(line);
}
