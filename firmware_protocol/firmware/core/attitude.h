/* Heading, tilt and pitch from the magnetic field and the specific force, in whole numbers. */
#ifndef HL_ATTITUDE_H
#define HL_ATTITUDE_H

#include "wire.h"

/* Any units, as long as each vector has one of its own; components within +-2^27.
 * Without a specific force nothing can be said, without a field there is no heading. */
struct hl_attitude hl_attitude_from(const int32_t field[3], const int32_t force[3]);

#endif
