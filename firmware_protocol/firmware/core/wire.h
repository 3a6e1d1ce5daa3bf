/* Sentences of the wire contract (SPECIFICATION.md) written into a buffer.
 *
 * Fixed point only, no allocation, no library beyond <string.h>. A value that is HL_NOT_MEASURED
 * or outside the contract's limits is written as an empty field, never as a wrong number.
 */
#ifndef HL_WIRE_H
#define HL_WIRE_H

#include <stdbool.h>
#include <stdint.h>

enum { HL_LONGEST_WRITTEN = 82, HL_PROTOCOL = 1 };

#define HL_NOT_MEASURED INT32_MIN

enum hl_stream { HL_STREAM_A = 1, HL_STREAM_M = 2, HL_STREAM_G = 4 };

enum hl_status {
    HL_TILT_COMPENSATED = 1,
    HL_FIELD_OUT_OF_RANGE = 2,
    HL_FORCE_OUT_OF_RANGE = 4,
    HL_ASKS_FOR_CALIBRATION = 8
};

enum hl_fault { HL_SENSOR, HL_RANGE, HL_CONFIG, HL_OVERRUN };

struct hl_line {
    uint8_t length; /* 0 when the sentence did not fit */
    bool too_long;
    char text[HL_LONGEST_WRITTEN + 1];
};

struct hl_identity {
    uint16_t protocol;
    const char *board;
    const char *serial_number;
    const char *firmware;
};

struct hl_attitude {
    int32_t heading_cdeg, tilt_cdeg, pitch_cdeg;
    uint8_t status;
};

/* One measuring instant in wire units, body axes; HL_NOT_MEASURED where there is nothing. */
struct hl_measurement {
    int32_t field[3];       /* 0.01 uT */
    int32_t force[3];       /* 0.1 mg */
    int32_t rate[3];        /* 0.01 deg/s */
    int32_t temperature;    /* 0.1 degC */
    uint8_t out_of_range;   /* HL_FIELD_OUT_OF_RANGE, HL_FORCE_OUT_OF_RANGE */
};

uint16_t hl_check(const char *bytes, uint8_t length);   /* CRC-16, start 0xFFFF */
uint8_t hl_checksum(const char *bytes, uint8_t length); /* XOR */

/* Each writes one sentence with CR LF and returns its length, 0 when it would be too long. */
uint8_t hl_write_identity(struct hl_line *line, const struct hl_identity *identity,
                          uint8_t rate_hz, uint8_t streams);
uint8_t hl_write_attitude(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                          const struct hl_attitude *attitude);
uint8_t hl_write_raw_field(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                           const int32_t field[3], const int32_t force[3]);
uint8_t hl_write_raw_rate(struct hl_line *line, uint16_t seq, uint32_t t_ms,
                          const int32_t rate[3], int32_t temperature);
uint8_t hl_write_key(struct hl_line *line, uint16_t seq, uint32_t t_ms, uint8_t key, bool down);
uint8_t hl_write_fault(struct hl_line *line, uint32_t t_ms, enum hl_fault fault,
                       const char *text);

#endif
