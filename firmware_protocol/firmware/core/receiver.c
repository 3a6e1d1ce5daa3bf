#include "receiver.h"

#include <string.h>

#include "wire.h"

enum { LINE_END = 2, HIGHEST_RATE_HZ = 200 };

static struct hl_command only(enum hl_received kind)
{
    struct hl_command command;
    memset(&command, 0, sizeof command);
    command.kind = kind;
    return command;
}

static struct hl_command refusal(enum hl_reason reason)
{
    struct hl_command command = only(HL_REFUSED);
    command.reason = reason;
    return command;
}

static int8_t hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (int8_t)(c - 'A' + 10);
    return -1;
}

static bool is_hex(const char *text, uint8_t digits, uint16_t value)
{
    for (uint8_t i = 0; i < digits; i++)
        if (hex_digit(text[i]) != (int8_t)((value >> (4 * (digits - 1 - i))) & 15))
            return false;
    return true;
}

/* A field of a body that ends at `end`; *at moves past its comma, or becomes NULL at the last. */
struct field {
    const char *text;
    uint8_t length;
};

static struct field next_field(const char **at, const char *end)
{
    const char *comma = memchr(*at, ',', (size_t)(end - *at));
    const struct field field = {*at, (uint8_t)((comma ? comma : end) - *at)};
    *at = comma ? comma + 1 : NULL;
    return field;
}

static bool field_is(struct field field, const char *word)
{
    return field.length == strlen(word) && memcmp(field.text, word, field.length) == 0;
}

/* 0, or a digit 1 to 9 and more digits, with - before a negative one */
static bool is_whole(struct field field)
{
    if (field.length == 1 && field.text[0] == '0')
        return true;
    if (field.length && field.text[0] == '-') {
        field.text++;
        field.length--;
    }
    if (!field.length || field.text[0] == '0')
        return false;
    for (uint8_t i = 0; i < field.length; i++)
        if (field.text[i] < '0' || field.text[i] > '9')
            return false;
    return true;
}

/* The rate of a whole number, 0 when it is outside 1 to 200 */
static uint8_t rate_of(struct field field)
{
    uint16_t value = 0;
    if (field.text[0] == '-' || field.length > 3)
        return 0;
    for (uint8_t i = 0; i < field.length; i++)
        value = (uint16_t)(value * 10 + (uint16_t)(field.text[i] - '0'));
    return value <= HIGHEST_RATE_HZ ? (uint8_t)value : 0;
}

/* The set of stream letters, 0 when it is none */
static uint8_t streams_of(struct field field)
{
    uint8_t streams = 0;
    for (uint8_t i = 0; i < field.length; i++) {
        uint8_t stream;
        switch (field.text[i]) {
        case 'A': stream = HL_STREAM_A; break;
        case 'M': stream = HL_STREAM_M; break;
        case 'G': stream = HL_STREAM_G; break;
        default: return 0;
        }
        if (streams & stream)
            return 0;
        streams |= stream;
    }
    return streams;
}

static struct hl_command configure(const char *at, const char *end)
{
    struct hl_command command = only(HL_CONFIGURE);
    command.is_configure = true;
    command.kind = HL_REFUSED;
    command.reason = HL_TOO_FEW_FIELDS;
    if (!at)
        return command;
    const struct field rate = next_field(&at, end);
    if (!at)
        return command;
    const struct field streams = next_field(&at, end);
    command.streams = streams_of(streams);
    command.reason = HL_WRONG_FORM;
    if (!is_whole(rate) || !command.streams)
        return command;
    command.rate_hz = rate_of(rate);
    command.reason = HL_OUT_OF_LIMITS;
    if (command.rate_hz)
        command.kind = HL_CONFIGURE;
    return command;
}

static struct hl_command cue(const char *at, const char *end)
{
    static const char *const words[] = {"OFF", "GOOD", "REDO", "FIELD", "SUN", "DONE"};
    if (!at)
        return refusal(HL_TOO_FEW_FIELDS);
    const struct field word = next_field(&at, end);
    for (uint8_t i = 0; i < sizeof words / sizeof *words; i++)
        if (field_is(word, words[i])) {
            struct hl_command command = only(HL_CUE);
            command.cue = (enum hl_cue)i;
            return command;
        }
    return refusal(HL_WRONG_FORM);
}

struct hl_command hl_read_sentence(const char *text, uint8_t length)
{
    if (!length || text[0] != '$')
        return refusal(HL_NOISE);
    if (length > HL_LONGEST_READ - LINE_END)
        return refusal(HL_TOO_LONG);
    if (length < 4 || text[length - 3] != '*' || hex_digit(text[length - 2]) < 0 ||
        hex_digit(text[length - 1]) < 0)
        return refusal(HL_NO_CHECKSUM);
    const char *body = text + 1;
    uint8_t body_length = (uint8_t)(length - 4);
    for (uint8_t i = 0; i < body_length; i++)
        if (body[i] < 0x20 || body[i] > 0x7E || body[i] == '*')
            return refusal(HL_UNPRINTABLE);
    if (!is_hex(text + length - 2, 2, hl_checksum(body, body_length)))
        return refusal(HL_WRONG_CHECKSUM);
    if (body_length < 4 || memcmp(body, "PHLG", 4) != 0)
        return only(HL_IGNORED);
    if (body_length < 5 || body[body_length - 5] != ',')
        return refusal(HL_WRONG_CHECK);
    body_length = (uint8_t)(body_length - 5);
    if (!is_hex(body + body_length + 1, 4, hl_check(body, body_length)))
        return refusal(HL_WRONG_CHECK);
    const char *at = body;
    const char *end = body + body_length;
    const struct field tag = next_field(&at, end);
    if (field_is(tag, "PHLGQ"))
        return only(HL_QUERY);
    if (field_is(tag, "PHLGC"))
        return configure(at, end);
    if (field_is(tag, "PHLGU"))
        return cue(at, end);
    return only(HL_IGNORED);
}

void hl_receiver_start(struct hl_receiver *receiver)
{
    memset(receiver, 0, sizeof *receiver);
}

struct hl_command hl_receive_end(struct hl_receiver *receiver)
{
    uint8_t length = receiver->length;
    receiver->length = 0;
    while (length && (receiver->piece[length - 1] == '\r' || receiver->piece[length - 1] == '\n'))
        length--;
    if (!length)
        return only(HL_NOTHING_YET);
    const struct hl_command command = hl_read_sentence(receiver->piece, length);
    if (command.kind == HL_REFUSED && receiver->refused[command.reason] < UINT16_MAX)
        receiver->refused[command.reason]++;
    return command;
}

struct hl_command hl_receive(struct hl_receiver *receiver, uint8_t byte)
{
    struct hl_command command = only(HL_NOTHING_YET);
    if (byte == '$' && receiver->length)
        command = hl_receive_end(receiver);
    receiver->piece[receiver->length++] = (char)byte;
    if (byte == '\n' || receiver->length == HL_LONGEST_READ)
        command = hl_receive_end(receiver);
    return command;
}
