#include "board.h"

#include <string.h>

#include "table.h"

enum { CUE_STEP_MS = 100, LINK_PERCENT = 85, BITS_A_BYTE = 10, LONGEST_TEXT = 30 };

struct report {
    uint8_t fault;
    char text[LONGEST_TEXT + 1];
};

static const struct report CONDITION_REPORTS[HL_CONDITIONS] HL_TABLE = {
    {HL_SENSOR, "motion sensor does not answer"},
    {HL_SENSOR, "magnetometer does not answer"},
    {HL_SENSOR, "sensor bus is held low"},
    {HL_RANGE, "magnetic field too strong"},
    {HL_RANGE, "acceleration too strong"},
};

static const struct report EVENT_REPORTS[HL_EVENTS] HL_TABLE = {
    {HL_CONFIG, "more than the link carries"},
    {HL_CONFIG, "faster than the sensor"},
    {HL_CONFIG, "no such rate or streams"},
    {HL_OVERRUN, "sentences dropped"},
    {HL_OVERRUN, "restarted by its watchdog"},
};

/* Lowest bit first, a bit every 100 ms */
static const uint16_t CUE_PATTERNS[] HL_TABLE = {
    0x0000, /* OFF */
    0x0001, /* GOOD: one short */
    0x0015, /* REDO: three short */
    0x0007, /* FIELD: one long, and again */
    0x5555, /* SUN: without a break */
    0x0777, /* DONE: three long */
};

static bool send_line(struct hl_board *board)
{
    return board->line.length == 0 ||
           board->setup.send(board->setup.link, board->line.text, board->line.length);
}

static void happened(struct hl_board *board, enum hl_event event)
{
    board->events |= (uint8_t)(1 << event);
}

static void send_measured(struct hl_board *board)
{
    if (!send_line(board))
        happened(board, HL_SENTENCES_DROPPED);
}

static bool report(struct hl_board *board, const struct report *what)
{
    char text[LONGEST_TEXT + 1];
    for (uint8_t i = 0; i < sizeof text; i++)
        text[i] = (char)HL_BYTE_AT(&what->text[i]);
    hl_write_fault(&board->line, board->t_ms, (enum hl_fault)HL_BYTE_AT(&what->fault), text);
    return send_line(board);
}

static void report_events(struct hl_board *board)
{
    for (uint8_t event = 0; board->events && event < HL_EVENTS; event++) {
        const uint8_t bit = (uint8_t)(1 << event);
        if ((board->events & bit) && report(board, &EVENT_REPORTS[event]))
            board->events &= (uint8_t)~bit;
    }
}

static void report_conditions(struct hl_board *board)
{
    for (uint8_t condition = 0; condition < HL_CONDITIONS; condition++) {
        uint16_t *const quiet_ms = &board->quiet_ms[condition];
        if (*quiet_ms)
            --*quiet_ms;
        else if ((board->holding & (1 << condition)) &&
                 report(board, &CONDITION_REPORTS[condition]))
            *quiet_ms = HL_FAULT_MS;
    }
}

static void send_identity(struct hl_board *board)
{
    hl_write_identity(&board->line, &board->setup.identity, board->rate_hz, board->streams);
    if (send_line(board))
        board->identity_in_ms = HL_IDENTITY_MS;
}

static void watch_key(struct hl_board *board, uint8_t key, bool down)
{
    struct hl_key *const state = &board->keys[key];
    if (down == state->down) {
        state->unsteady_ms = 0;
        return;
    }
    if (state->unsteady_ms < HL_DEBOUNCE_MS) {
        state->unsteady_ms++;
        return;
    }
    hl_write_key(&board->line, board->seq, board->t_ms, (uint8_t)(key + 1), down);
    if (send_line(board)) { /* or again at the next tick: a key is never lost */
        state->down = down;
        state->unsteady_ms = 0;
    }
}

/* Bytes of the longest sentences of one instant that this sensor can give rise to */
static uint16_t longest_instant(struct hl_board *board, uint8_t streams)
{
    static const struct hl_attitude attitude = {35999, -18000, -9000, 15};
    const struct hl_measurement *const lowest = board->setup.lowest;
    uint16_t bytes = 0;
    if (streams & HL_STREAM_A)
        bytes += hl_write_attitude(&board->line, UINT16_MAX, UINT32_MAX, &attitude);
    if (streams & HL_STREAM_M)
        bytes += hl_write_raw_field(&board->line, UINT16_MAX, UINT32_MAX, lowest->field,
                                    lowest->force);
    if (streams & HL_STREAM_G)
        bytes += hl_write_raw_rate(&board->line, UINT16_MAX, UINT32_MAX, lowest->rate,
                                   lowest->temperature);
    return bytes;
}

static void configure(struct hl_board *board, uint8_t rate_hz, uint8_t streams)
{
    const uint32_t needed = (uint32_t)longest_instant(board, streams) * rate_hz;
    if (needed * 100 > board->setup.baud / BITS_A_BYTE * LINK_PERCENT) {
        happened(board, HL_LINK_TOO_SLOW);
        return;
    }
    if (rate_hz > board->setup.highest_rate_hz) {
        happened(board, HL_SENSOR_TOO_SLOW);
        return;
    }
    board->rate_hz = rate_hz;
    board->streams = streams;
    board->identity_in_ms = 0;
}

static void play(struct hl_board *board, enum hl_cue cue)
{
    board->cue_pattern = HL_WORD_AT(&CUE_PATTERNS[cue]);
    board->cue_repeats = cue == HL_CUE_SUN || cue == HL_CUE_FIELD;
    board->cue_ms = 0;
}

static void step_cue(struct hl_board *board)
{
    if (++board->cue_ms < CUE_STEP_MS)
        return;
    board->cue_ms = 0;
    const uint16_t first = board->cue_pattern & 1;
    board->cue_pattern >>= 1;
    if (board->cue_repeats && first)
        board->cue_pattern |= 0x8000;
}

bool hl_board_cue_is_on(const struct hl_board *board)
{
    return board->cue_pattern & 1;
}

void hl_board_start(struct hl_board *board, const struct hl_board_setup *setup)
{
    memset(board, 0, sizeof *board);
    board->setup = *setup;
    board->seq = UINT16_MAX; /* the first instant is number 0 */
    board->rate_hz = setup->rate_hz;
    board->streams = setup->streams;
    hl_receiver_start(&board->receiver);
    if (setup->watchdog_restart)
        happened(board, HL_WATCHDOG_RESTART);
}

bool hl_board_tick(struct hl_board *board, uint8_t pressed)
{
    board->t_ms++;
    if (board->identity_in_ms)
        board->identity_in_ms--;
    else
        send_identity(board);
    report_events(board);
    report_conditions(board);
    for (uint8_t key = 0; key < HL_KEYS; key++)
        watch_key(board, key, pressed & (1 << key));
    step_cue(board);
    /* A thousand ticks hold exactly rate_hz instants, whatever the rate */
    board->phase = (uint16_t)(board->phase + board->rate_hz);
    if (board->phase < 1000)
        return false;
    board->phase = (uint16_t)(board->phase - 1000);
    board->seq++;
    return true;
}

void hl_board_received(struct hl_board *board, uint8_t byte)
{
    const struct hl_command command = hl_receive(&board->receiver, byte);
    if (command.kind == HL_QUERY)
        board->identity_in_ms = 0;
    else if (command.kind == HL_CONFIGURE)
        configure(board, command.rate_hz, command.streams);
    else if (command.kind == HL_CUE)
        play(board, command.cue);
    else if (command.kind == HL_REFUSED && command.is_configure)
        happened(board, HL_SETTINGS_UNREADABLE);
}

void hl_board_measured(struct hl_board *board, const struct hl_measurement *measurement)
{
    hl_board_condition(board, HL_FIELD_RANGE,
                       measurement->out_of_range & HL_FIELD_OUT_OF_RANGE);
    hl_board_condition(board, HL_FORCE_RANGE,
                       measurement->out_of_range & HL_FORCE_OUT_OF_RANGE);
    if (board->streams & HL_STREAM_A) {
        struct hl_attitude attitude = hl_attitude_from(measurement->field, measurement->force);
        attitude.status |= measurement->out_of_range;
        hl_write_attitude(&board->line, board->seq, board->t_ms, &attitude);
        send_measured(board);
    }
    if (board->streams & HL_STREAM_M) {
        hl_write_raw_field(&board->line, board->seq, board->t_ms, measurement->field,
                           measurement->force);
        send_measured(board);
    }
    if (board->streams & HL_STREAM_G) {
        hl_write_raw_rate(&board->line, board->seq, board->t_ms, measurement->rate,
                          measurement->temperature);
        send_measured(board);
    }
}

void hl_board_condition(struct hl_board *board, enum hl_condition condition, bool holds)
{
    if (holds)
        board->holding |= (uint8_t)(1 << condition);
    else
        board->holding &= (uint8_t)~(1 << condition);
}
