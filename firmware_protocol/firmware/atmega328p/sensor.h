/* What the board layer wants of a sensor. Another sensor is another file with these names. */
#ifndef SENSOR_H
#define SENSOR_H

#include "../core/wire.h"

enum { SENSOR_MOTION = 1, SENSOR_MAGNETOMETER = 2, SENSOR_ALL = 3 };

/* The highest rate at which every instant has new values. */
extern const uint8_t sensor_highest_rate_hz;
/* The longest numbers that it can give. */
extern const struct hl_measurement sensor_lowest;

/* Sets up the parts named in `parts`; which of them answered. Takes a few milliseconds at most. */
uint8_t sensor_start(uint8_t parts);
/* Measures with the parts named in `parts`, everything else HL_NOT_MEASURED; which of them
 * answered. */
uint8_t sensor_measure(uint8_t parts, struct hl_measurement *measurement);

#endif
