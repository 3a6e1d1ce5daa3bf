/* Reads rows of numbers, writes what the core makes of them; the tests hold the lines against the
 * Python codec's. A dash is "not measured"; texts are in hex, a dot is an empty one.
 *
 *   I protocol board serial firmware rate streams     A seq t_ms heading tilt pitch status
 *   M seq t_ms mx my mz fx fy fz                      G seq t_ms gx gy gz temperature
 *   K seq t_ms key down                               E t_ms fault text
 *   T mx my mz fx fy fz     prints heading tilt pitch status of the core's own attitude
 *   B bytes                 prints what the receiver makes of a whole stream, in order
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../core/attitude.h"
#include "../core/receiver.h"
#include "../core/wire.h"

static const char *next_token(void)
{
    const char *token = strtok(NULL, " \n");
    if (!token) {
        fputs("a row is too short\n", stderr);
        exit(2);
    }
    return token;
}

static int32_t next_value(void)
{
    const char *token = next_token();
    return strcmp(token, "-") == 0 ? HL_NOT_MEASURED : (int32_t)strtol(token, NULL, 10);
}

static uint32_t next_unsigned(void)
{
    return (uint32_t)strtoul(next_token(), NULL, 10);
}

static void next_text(char *text, size_t size)
{
    const char *token = next_token();
    size_t length = 0;
    for (unsigned byte; length + 1 < size && sscanf(token, "%2x", &byte) == 1; token += 2)
        text[length++] = (char)byte;
    text[length] = '\0';
}

static void next_values(int32_t *values, int count)
{
    for (int i = 0; i < count; i++)
        values[i] = next_value();
}

static void print_command(struct hl_command command)
{
    switch (command.kind) {
    case HL_NOTHING_YET: break;
    case HL_QUERY: fputs("query ", stdout); break;
    case HL_CONFIGURE: printf("configure:%d:%d ", command.rate_hz, command.streams); break;
    case HL_CUE: printf("cue:%d ", command.cue); break;
    case HL_IGNORED: fputs("ignored ", stdout); break;
    case HL_REFUSED: printf("refused:%d ", command.reason); break;
    }
}

static void receive_stream(const char *hex)
{
    static struct hl_receiver receiver;
    hl_receiver_start(&receiver);
    for (unsigned byte; sscanf(hex, "%2x", &byte) == 1; hex += 2)
        print_command(hl_receive(&receiver, (uint8_t)byte));
    print_command(hl_receive_end(&receiver));
    putchar('\n');
}

int main(void)
{
    static char row[8192];
    static struct hl_line line;
    while (fgets(row, sizeof row, stdin)) {
        const char *kind = strtok(row, " \n");
        if (!kind)
            continue;
        if (*kind == 'T') {
            int32_t v[6];
            next_values(v, 6);
            const struct hl_attitude a = hl_attitude_from(v, v + 3);
            printf("%ld %ld %ld %d\n", (long)a.heading_cdeg, (long)a.tilt_cdeg,
                   (long)a.pitch_cdeg, a.status);
            continue;
        }
        if (*kind == 'B') {
            receive_stream(next_token());
            continue;
        }
        if (*kind == 'I') {
            char board[80], serial_number[80], firmware[80];
            const uint16_t protocol = (uint16_t)next_unsigned();
            next_text(board, sizeof board);
            next_text(serial_number, sizeof serial_number);
            next_text(firmware, sizeof firmware);
            const struct hl_identity identity = {protocol, board, serial_number, firmware};
            const uint8_t rate_hz = (uint8_t)next_unsigned();
            hl_write_identity(&line, &identity, rate_hz, (uint8_t)next_unsigned());
        } else if (*kind == 'E') {
            char text[80];
            const uint32_t t_ms = next_unsigned();
            const enum hl_fault fault = (enum hl_fault)next_unsigned();
            next_text(text, sizeof text);
            hl_write_fault(&line, t_ms, fault, text);
        } else {
            const uint16_t seq = (uint16_t)next_unsigned();
            const uint32_t t_ms = next_unsigned();
            int32_t v[6];
            switch (*kind) {
            case 'A': {
                next_values(v, 4);
                const struct hl_attitude attitude = {v[0], v[1], v[2], (uint8_t)v[3]};
                hl_write_attitude(&line, seq, t_ms, &attitude);
                break;
            }
            case 'M':
                next_values(v, 6);
                hl_write_raw_field(&line, seq, t_ms, v, v + 3);
                break;
            case 'G':
                next_values(v, 4);
                hl_write_raw_rate(&line, seq, t_ms, v, v[3]);
                break;
            case 'K':
                next_values(v, 2);
                hl_write_key(&line, seq, t_ms, (uint8_t)v[0], v[1]);
                break;
            default:
                fprintf(stderr, "no such row: %s\n", kind);
                return 2;
            }
        }
        fputs(line.length ? line.text : "too long\r\n", stdout);
    }
    return 0;
}
