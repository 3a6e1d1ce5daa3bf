/* Bytes from the host into commands. Noise is counted by reason and never does harm; the rules
 * are those of SPECIFICATION.md, "What a receiver does". */
#ifndef HL_RECEIVER_H
#define HL_RECEIVER_H

#include <stdbool.h>
#include <stdint.h>

enum { HL_LONGEST_READ = 128 };

enum hl_reason {
    HL_NOISE,
    HL_TOO_LONG,
    HL_NO_CHECKSUM,
    HL_UNPRINTABLE,
    HL_WRONG_CHECKSUM,
    HL_WRONG_CHECK,
    HL_TOO_FEW_FIELDS,
    HL_WRONG_FORM,
    HL_OUT_OF_LIMITS,
    HL_REASONS
};

enum hl_received {
    HL_NOTHING_YET,
    HL_QUERY,
    HL_CONFIGURE,
    HL_CUE,
    HL_IGNORED, /* sound, but nothing a board is told */
    HL_REFUSED
};

enum hl_cue { HL_CUE_OFF, HL_CUE_GOOD, HL_CUE_REDO, HL_CUE_FIELD, HL_CUE_SUN, HL_CUE_DONE };

struct hl_command {
    enum hl_received kind;
    enum hl_reason reason;  /* HL_REFUSED */
    bool is_configure;      /* HL_REFUSED by its fields: it was a sound HL_CONFIGURE otherwise */
    uint8_t rate_hz;        /* HL_CONFIGURE */
    uint8_t streams;        /* HL_CONFIGURE */
    enum hl_cue cue;        /* HL_CUE */
};

struct hl_receiver {
    uint8_t length;
    char piece[HL_LONGEST_READ];
    uint16_t refused[HL_REASONS];
};

void hl_receiver_start(struct hl_receiver *receiver);
/* Takes one byte; what it completed, if anything. */
struct hl_command hl_receive(struct hl_receiver *receiver, uint8_t byte);
/* The end of a stream: judges what is left as it stands. */
struct hl_command hl_receive_end(struct hl_receiver *receiver);
/* One sentence without its line end. */
struct hl_command hl_read_sentence(const char *text, uint8_t length);

#endif
