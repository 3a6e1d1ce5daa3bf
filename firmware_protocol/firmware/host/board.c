/* The core's board without a chip, for the tests: a script on stdin, what it sends on stdout.
 *
 *   t COUNT PRESSED      so many milliseconds with these keys held
 *   b BYTES              bytes from the host, in hex
 *   r YES                whether the link has room
 *   c CONDITION HOLDS    a condition begins or ends
 *   w T_MS SEQ           where the counters stand
 */
#include <stdio.h>

#include "../core/board.h"

static bool has_room = true;

static bool send(void *unused, const char *text, uint8_t length)
{
    (void)unused;
    return has_room && fwrite(text, 1, length, stdout) == length;
}

int main(void)
{
    static const struct hl_measurement lowest = {
        {-160000, -160000, -160000}, {-20000, -20000, -20000}, {-50025, -50025, -50025}, -771, 0};
    static const struct hl_measurement now = {
        {2000, -10, 4500}, {0, 0, -10000}, {1, 2, 3}, 230, 0};
    const struct hl_board_setup setup = {
        .identity = {HL_PROTOCOL, "host", "7", "test"},
        .baud = 115200,
        .highest_rate_hz = 200,
        .lowest = &lowest,
        .rate_hz = 50,
        .streams = HL_STREAM_A | HL_STREAM_M | HL_STREAM_G,
        .send = send,
    };
    static struct hl_board board;
    static char row[4096];
    hl_board_start(&board, &setup);
    while (fgets(row, sizeof row, stdin)) {
        unsigned long first = 0, second = 0;
        sscanf(row + 1, "%lu %lu", &first, &second);
        switch (row[0]) {
        case 't':
            while (first--)
                if (hl_board_tick(&board, (uint8_t)second))
                    hl_board_measured(&board, &now);
            break;
        case 'b': {
            unsigned byte;
            for (const char *at = row + 2; sscanf(at, "%2x", &byte) == 1; at += 2)
                hl_board_received(&board, (uint8_t)byte);
            break;
        }
        case 'r': has_room = first; break;
        case 'c': hl_board_condition(&board, (enum hl_condition)first, second); break;
        case 'w':
            board.t_ms = (uint32_t)first;
            board.seq = (uint16_t)second;
            break;
        default: return 2;
        }
    }
    return 0;
}
