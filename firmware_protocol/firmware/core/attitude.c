#include "attitude.h"

#include <stddef.h>

#include "table.h"

/* Plane rotations by the angles atan(2^-i): shifts (of negative numbers too, which every usual
 * compiler makes a floor) and sums only, which is all that a small processor is quick at. Every rotation of a pair lengthens it by the factor GAIN, known
 * beforehand, so a third component is lengthened to match.
 *
 * Angles are in 1/16384 of 0.01 degree. */
enum { STEPS = 20, ANGLE_SHIFT = 14 };
#define HALF_TURN ((int32_t)18000 << ANGLE_SHIFT)

/* atan(2^-i) as an angle; printed by  round(degrees(atan(2**-i)) * 100 * 16384) */
static const int32_t STEP_ANGLE[STEPS] HL_TABLE = {
    73728000, 43524180, 22996981, 11673627, 5859466,
    2932590, 1466653, 733371, 366691, 183346,
    91673, 45837, 22918, 11459, 5730,
    2865, 1432, 716, 358, 179};

struct pair {
    int32_t x, y;
};

/* value >> by. Whole bytes first: a small processor moves them at once, and bits one by one. */
static int32_t shifted(int32_t value, uint8_t by)
{
    if (by >= 16) {
        value >>= 16;
        by = (uint8_t)(by - 16);
    } else if (by >= 8) {
        value >>= 8;
        by = (uint8_t)(by - 8);
    }
    return value >> by;
}

static int32_t magnitude(int32_t value)
{
    return value < 0 ? -value : value;
}

/* One step towards the x axis from the left (y above it) or from the right */
static void turn(struct pair *pair, uint8_t step, bool left)
{
    const int32_t x = shifted(pair->x, step), y = shifted(pair->y, step);
    pair->x += left ? y : -y;
    pair->y += left ? -x : x;
}

/* Turns `lead` onto its positive x axis, and `follow` with it where there is one; the angle that
 * `lead` had. */
static int32_t turn_to_axis(struct pair *lead, struct pair *follow)
{
    int32_t angle = 0;
    if (lead->x < 0) {
        angle = lead->y < 0 ? -HALF_TURN : HALF_TURN;
        lead->x = -lead->x;
        lead->y = -lead->y;
        if (follow) {
            follow->x = -follow->x;
            follow->y = -follow->y;
        }
    }
    for (uint8_t i = 0; i < STEPS; i++) {
        const bool left = lead->y >= 0;
        const int32_t step = (int32_t)HL_LONG_AT(&STEP_ANGLE[i]);
        angle += left ? step : -step;
        turn(lead, i, left);
        if (follow)
            turn(follow, i, left);
    }
    return angle;
}

/* value * 1.646760258, the product of sqrt(1 + 4^-i): in two halves so that nothing overflows */
static int32_t lengthened(int32_t value)
{
    const int32_t gain = 53961; /* of 32768 */
    const int32_t high = value / 32768, low = value % 32768;
    return high * gain + low * gain / 32768;
}

/* Scales a vector so that its largest component lies within 2^26 to 2^27: two lengthenings and
 * one diagonal stay below 2^31. False for a vector of zeros or one not measured. */
static bool scaled(int32_t to[3], const int32_t from[3])
{
    int32_t largest = 0;
    for (uint8_t axis = 0; axis < 3; axis++) {
        if (from[axis] == HL_NOT_MEASURED)
            return false;
        if (magnitude(from[axis]) > largest)
            largest = magnitude(from[axis]);
    }
    if (!largest)
        return false;
    uint8_t shift = 0;
    while (largest < ((int32_t)1 << 26)) {
        largest <<= 1;
        shift++;
    }
    for (uint8_t axis = 0; axis < 3; axis++)
        to[axis] = from[axis] * ((int32_t)1 << shift);
    return true;
}

/* In 0.01 degree, -18000 to 18000: an angle of half a turn can come out a little beyond it */
static int32_t rounded(int32_t angle)
{
    const int32_t cdeg = (angle + ((int32_t)1 << (ANGLE_SHIFT - 1))) >> ANGLE_SHIFT;
    return cdeg > 18000 ? cdeg - 36000 : cdeg < -18000 ? cdeg + 36000 : cdeg;
}

struct hl_attitude hl_attitude_from(const int32_t field[3], const int32_t force[3])
{
    struct hl_attitude attitude = {HL_NOT_MEASURED, HL_NOT_MEASURED, HL_NOT_MEASURED, 0};
    int32_t up[3], north[3];
    if (!scaled(up, force))
        return attitude;
    const bool has_field = scaled(north, field);
    if (!has_field)
        north[0] = north[1] = north[2] = 0;

    /* Undo the tilt: the specific force comes to lie in the plane of the sight and the vertical.
     * At rest it points up, so right side down leaves it left of -z. */
    struct pair force_yz = {-up[2], -up[1]}, field_yz = {-north[2], -north[1]};
    attitude.tilt_cdeg = rounded(turn_to_axis(&force_yz, &field_yz));

    /* Undo the pitch: the sight comes to lie level. */
    struct pair force_xz = {force_yz.x, lengthened(up[0])};
    struct pair field_xz = {field_yz.x, lengthened(north[0])};
    attitude.pitch_cdeg = rounded(turn_to_axis(&force_xz, &field_xz));

    /* What is left of the field ahead and to the right: heading is how far north lies left. */
    struct pair level = {field_xz.y, lengthened(field_yz.y)};
    if (!has_field || (level.x == 0 && level.y == 0))
        return attitude;
    level.x /= 2;
    level.y /= 2;
    int32_t heading = rounded(turn_to_axis(&level, NULL));
    if (heading < 0)
        heading += 36000;
    attitude.heading_cdeg = heading >= 36000 ? 0 : heading;
    attitude.status = HL_TILT_COMPENSATED;
    return attitude;
}
