/* MPU-9250 (or 9255): accelerometer, gyro and thermometer at 0x68, its AK8963 magnetometer at
 * 0x0C behind the bypass.
 *
 * Register addresses, values and sensitivities are those of the makers' public documents
 * (MPU-9250 product specification and register map; AK8963 datasheet), written from memory and
 * compared with several public drivers' register lists; not compared with a chip.
 *
 * The module lies face up with its x arrow along the line of sight: the chip's x, y, z are
 * forward, left, up, the contract's are forward, right, down. The magnetometer's x and y are the
 * chip's y and x, its z points down. */
#include "bus.h"
#include "sensor.h"

#include <stdlib.h>
#include <util/delay.h>

enum {
    MOTION = 0x68,
    SAMPLE_DIVIDER = 0x19,
    GYRO_FILTER = 0x1A,
    GYRO_SCALE = 0x1B,
    ACCEL_SCALE = 0x1C,
    ACCEL_FILTER = 0x1D,
    PINS = 0x37,
    INTERRUPTS = 0x38,
    INTERRUPT_STATUS = 0x3A, /* and the 14 bytes of measurements behind it */
    USER_CONTROL = 0x6A,
    POWER_1 = 0x6B,
    POWER_2 = 0x6C,
    WHO_AM_I = 0x75,

    MAGNETOMETER = 0x0C,
    MAG_WHO_AM_I = 0x00,
    MAG_STATUS = 0x02, /* and 6 bytes of measurements, and a second status that ends a reading */
    MAG_CONTROL = 0x0A,
    MAG_ADJUSTMENT = 0x10,
    MAG_OFF = 0x00,
    MAG_FUSES = 0x0F,
    MAG_16_BIT_100_HZ = 0x16,
    MAG_OVERFLOW = 0x08
};

/* Readings without news before the magnetometer counts as silent */
enum { PATIENCE = 5 };

const uint8_t sensor_highest_rate_hz = 100;
const struct hl_measurement sensor_lowest = {
    {-160000, -160000, -160000}, {-20000, -20000, -20000}, {-50025, -50025, -50025}, -771, 0};

static uint8_t adjustment[3];
static int32_t last_field[3];
static uint8_t last_out_of_range, without_news;

struct setting {
    uint8_t at, value;
};

static bool start_motion(void)
{
    static const struct setting settings[] = {
        {POWER_1, 0x01},        /* awake, clock of the gyro */
        {POWER_2, 0x00},        /* all axes */
        {GYRO_FILTER, 0x03},    /* 41 Hz, 1 kHz inside */
        {SAMPLE_DIVIDER, 4},    /* 200 Hz */
        {GYRO_SCALE, 0x08},     /* +-500 deg/s */
        {ACCEL_SCALE, 0x00},    /* +-2 g */
        {ACCEL_FILTER, 0x03},   /* 45 Hz */
        {USER_CONTROL, 0x00},   /* its own I2C master off ... */
        {PINS, 0x02},           /* ... so that the magnetometer can be had directly */
        {INTERRUPTS, 0x01},     /* tells when values are new */
    };
    uint8_t who; /* MPU-9250, 9255, or the 6500 that some modules carry: the same, but no compass */
    if (!bus_read(MOTION, WHO_AM_I, &who, 1) || (who != 0x71 && who != 0x73 && who != 0x70))
        return false;
    for (uint8_t i = 0; i < sizeof settings / sizeof *settings; i++)
        if (!bus_write(MOTION, settings[i].at, settings[i].value))
            return false;
    _delay_ms(6); /* one sample */
    return true;
}

static bool start_magnetometer(void)
{
    uint8_t who;
    if (!bus_read(MAGNETOMETER, MAG_WHO_AM_I, &who, 1) || who != 0x48)
        return false;
    if (!bus_write(MAGNETOMETER, MAG_CONTROL, MAG_OFF))
        return false;
    _delay_us(100);
    if (!bus_write(MAGNETOMETER, MAG_CONTROL, MAG_FUSES))
        return false;
    _delay_us(100);
    if (!bus_read(MAGNETOMETER, MAG_ADJUSTMENT, adjustment, 3) ||
        !bus_write(MAGNETOMETER, MAG_CONTROL, MAG_OFF))
        return false;
    _delay_us(100);
    without_news = 0;
    last_out_of_range = 0;
    last_field[0] = last_field[1] = last_field[2] = HL_NOT_MEASURED;
    return bus_write(MAGNETOMETER, MAG_CONTROL, MAG_16_BIT_100_HZ);
}

uint8_t sensor_start(uint8_t parts)
{
    uint8_t answered = 0;
    if ((parts & SENSOR_MOTION) && start_motion())
        answered |= SENSOR_MOTION;
    /* The magnetometer is reached through the motion sensor's bypass */
    if ((parts & SENSOR_MAGNETOMETER) && start_magnetometer())
        answered |= SENSOR_MAGNETOMETER;
    return answered;
}

static int16_t big_endian(const uint8_t *bytes)
{
    return (int16_t)((uint16_t)bytes[0] << 8 | bytes[1]);
}

static int16_t little_endian(const uint8_t *bytes)
{
    return (int16_t)((uint16_t)bytes[1] << 8 | bytes[0]);
}

static int32_t rounded_quotient(int32_t value, int32_t by)
{
    return (value + (value < 0 ? -by / 2 : by / 2)) / by;
}

static bool measure_motion(struct hl_measurement *measurement)
{
    static const int8_t to_body[3] = {1, -1, -1};
    uint8_t raw[15];
    if (!bus_read(MOTION, INTERRUPT_STATUS, raw, sizeof raw) || !(raw[0] & 1))
        return false; /* silent, or it lost its settings and sleeps */
    for (uint8_t axis = 0; axis < 3; axis++) {
        const int32_t force = big_endian(raw + 1 + 2 * axis);
        const int32_t rate = big_endian(raw + 9 + 2 * axis);
        if (labs(force) >= INT16_MAX) {
            measurement->out_of_range |= HL_FORCE_OUT_OF_RANGE;
        } else {
            /* 16384 counts per g */
            measurement->force[axis] = to_body[axis] * rounded_quotient(force * 625, 1024);
        }
        if (labs(rate) < INT16_MAX) /* 65.5 counts per deg/s */
            measurement->rate[axis] = to_body[axis] * rounded_quotient(rate * 200, 131);
    }
    if (measurement->out_of_range & HL_FORCE_OUT_OF_RANGE)
        for (uint8_t axis = 0; axis < 3; axis++)
            measurement->force[axis] = HL_NOT_MEASURED;
    /* 333.87 counts per degree, 21 degC at 0 */
    measurement->temperature = 210 + rounded_quotient((int32_t)big_endian(raw + 7) * 1000, 33387);
    return true;
}

static void take_field(const uint8_t *raw)
{
    static const uint8_t from[3] = {1, 0, 2};
    static const int8_t sign[3] = {1, -1, 1};
    last_out_of_range = 0;
    for (uint8_t axis = 0; axis < 3; axis++) {
        const uint8_t own = from[axis];
        /* 0.15 uT a count, times the factory's adjustment (a + 128) / 256 */
        const int32_t counts = little_endian(raw + 2 * own);
        const int32_t field = rounded_quotient(counts * 15 * (adjustment[own] + 128L), 256);
        last_field[axis] = sign[axis] * field;
        if (labs(field) > 160000)
            last_out_of_range = HL_FIELD_OUT_OF_RANGE;
    }
}

static bool measure_field(struct hl_measurement *measurement)
{
    uint8_t raw[8];
    if (!bus_read(MAGNETOMETER, MAG_STATUS, raw, sizeof raw))
        return false;
    if (raw[0] & 1) {
        take_field(raw + 1);
        if (raw[7] & MAG_OVERFLOW)
            last_out_of_range = HL_FIELD_OUT_OF_RANGE;
        without_news = 0;
    } else if (++without_news > PATIENCE) {
        return false;
    }
    measurement->out_of_range |= last_out_of_range;
    if (!last_out_of_range)
        for (uint8_t axis = 0; axis < 3; axis++)
            measurement->field[axis] = last_field[axis];
    return true;
}

uint8_t sensor_measure(uint8_t parts, struct hl_measurement *measurement)
{
    for (uint8_t axis = 0; axis < 3; axis++)
        measurement->field[axis] = measurement->force[axis] = measurement->rate[axis] =
            HL_NOT_MEASURED;
    measurement->temperature = HL_NOT_MEASURED;
    measurement->out_of_range = 0;
    uint8_t answered = 0;
    if ((parts & SENSOR_MOTION) && measure_motion(measurement))
        answered |= SENSOR_MOTION;
    if ((parts & SENSOR_MAGNETOMETER) && measure_field(measurement))
        answered |= SENSOR_MAGNETOMETER;
    return answered;
}
