/* Everything a board does that does not depend on its chip or its sensor: what to send when,
 * what to make of commands, keys, faults and cues.
 *
 * The layer below calls hl_board_tick once a millisecond and hl_board_received for every byte
 * from the host; when a tick says that an instant is due it measures and calls
 * hl_board_measured. All state is in struct hl_board. */
#ifndef HL_BOARD_H
#define HL_BOARD_H

#include "attitude.h"
#include "receiver.h"
#include "wire.h"

enum { HL_KEYS = 2, HL_DEBOUNCE_MS = 20, HL_IDENTITY_MS = 5000, HL_FAULT_MS = 5000 };

/* Conditions a board can be in; each is reported when it begins and every 5 s while it lasts. */
enum hl_condition {
    HL_MOTION_SILENT,
    HL_MAGNETOMETER_SILENT,
    HL_BUS_STUCK,
    HL_FIELD_RANGE,
    HL_FORCE_RANGE,
    HL_CONDITIONS
};

/* Things that happened, reported once. */
enum hl_event {
    HL_LINK_TOO_SLOW,
    HL_SENSOR_TOO_SLOW,
    HL_SETTINGS_UNREADABLE,
    HL_SENTENCES_DROPPED,
    HL_WATCHDOG_RESTART,
    HL_EVENTS
};

struct hl_board_setup {
    struct hl_identity identity;
    uint32_t baud;
    uint8_t highest_rate_hz;               /* that the sensor keeps up with */
    const struct hl_measurement *lowest;   /* the sensor's longest numbers, for the link budget */
    uint8_t rate_hz, streams;              /* at start */
    bool watchdog_restart;                 /* the last run ended in its watchdog */
    bool (*send)(void *link, const char *text, uint8_t length); /* all of it, or false */
    void *link;
};

struct hl_key {
    bool down;
    uint8_t unsteady_ms;
};

struct hl_board {
    struct hl_board_setup setup;
    struct hl_receiver receiver;
    struct hl_line line;
    uint32_t t_ms;
    uint16_t seq;
    uint16_t identity_in_ms;
    uint16_t phase;
    uint16_t cue_pattern;
    uint8_t cue_ms;
    bool cue_repeats;
    uint8_t rate_hz, streams;
    struct hl_key keys[HL_KEYS];
    uint8_t holding;                       /* bits of enum hl_condition */
    uint8_t events;                        /* bits of enum hl_event not yet reported */
    uint16_t quiet_ms[HL_CONDITIONS];
};

void hl_board_start(struct hl_board *board, const struct hl_board_setup *setup);
/* One millisecond; `pressed` has bit 0 for the trigger, bit 1 for the mark. True when an instant
 * is due. */
bool hl_board_tick(struct hl_board *board, uint8_t pressed);
void hl_board_received(struct hl_board *board, uint8_t byte);
void hl_board_measured(struct hl_board *board, const struct hl_measurement *measurement);
void hl_board_condition(struct hl_board *board, enum hl_condition condition, bool holds);
/* Whether the buzzer or light should be on now. */
bool hl_board_cue_is_on(const struct hl_board *board);

#endif
