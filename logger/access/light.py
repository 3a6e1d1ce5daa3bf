"""The light the sky offers, minute by minute: of a clear sky, or of a weather record.

Weather comes as means over intervals, an hour as a rule. A mean is spread over the minutes of its
interval in which the sun is up as the clear sky's own irradiance is, so that the interval keeps its
energy and the minutes their place under the sun: an hour that starts in the dark has all of its
light in the part after sunrise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.weather import Weather
from logger.arrays import Floats, floats, lock_columns
from logger.sun import SunYear


@dataclass(frozen=True, eq=False)
class Light:
    """Irradiance at every row of a `SunYear`."""

    # Direct normal, global horizontal and diffuse horizontal. [W/m2] Shape (N,).
    dni_wm2: Floats
    ghi_wm2: Floats
    dhi_wm2: Floats
    extraterrestrial_wm2: Floats  # Normal to the sun, outside the air. [W/m2] Shape (N,).
    # Of the air, where the weather tells. [degC], [m/s] Shape (N,).
    temperature_c: Floats | None = None
    wind_ms: Floats | None = None

    def __post_init__(self) -> None:
        names = ["dni_wm2", "ghi_wm2", "dhi_wm2", "extraterrestrial_wm2"]
        names += [n for n in ("temperature_c", "wind_ms") if getattr(self, n) is not None]
        lock_columns(self, names)


def clear_sky(
    sun: SunYear, turbidity: float | None = None, factors: tuple[float, ...] = (1.0,)
) -> tuple[Light, ...]:
    """Cloudless years by pvlib's Ineichen model, one for each factor on the turbidity.

    Air mass is Kasten and Young's of the apparent zenith, at the standard pressure of the site's
    elevation. Linke turbidity is one for the whole year or, without it, pvlib's table of months and
    places, interpolated to days.
    """
    import pandas as pd
    import pvlib

    site = sun.site
    day, of = np.unique(sun.minute // 1440, return_inverse=True)
    dates = pd.DatetimeIndex(day.astype("datetime64[D]").astype("datetime64[s]"), tz="UTC")
    extraterrestrial = floats(pvlib.irradiance.get_extra_radiation(dates.dayofyear))[of]
    zenith = 90.0 - sun.elevation_deg
    air_mass = pvlib.atmosphere.get_absolute_airmass(
        pvlib.atmosphere.get_relative_airmass(zenith), pvlib.atmosphere.alt2pres(site.altitude_m)
    )
    if turbidity is None:
        # At the very edge of the map the table's index would run over by one.
        latitude = np.clip(site.latitude_deg, -89.99, 89.99)
        longitude = np.clip(site.longitude_deg, -179.99, 179.99)
        linke = floats(pvlib.clearsky.lookup_linke_turbidity(dates, latitude, longitude))[of]
    else:
        linke = np.full(len(sun), turbidity)
    lights = []
    for factor in factors:
        got = pvlib.clearsky.ineichen(
            zenith, air_mass, np.maximum(linke * factor, 1.0), site.altitude_m, extraterrestrial
        )
        dhi = floats(np.maximum(got["dhi"], 0.0))
        lights.append(Light(floats(got["dni"]), floats(got["ghi"]), dhi, extraterrestrial))
    return tuple(lights)


def weather_light(weather: Weather, sun: SunYear, clear: Light) -> Light:
    """Weather spread over minutes, as a clear sky would share out each interval."""
    row, interval = weather.rows_at(sun.minute)
    covered = row >= 0
    row = np.maximum(row, 0)

    def spread(mean: Floats, shape: Floats) -> Floats:
        value = np.where(covered, mean[row], 0.0)
        if weather.step_min == 1:
            return value
        shape = np.maximum(shape, 1e-3)  # every minute with the sun up gets something
        total = np.bincount(interval, shape)
        return floats(value * weather.step_min * shape / total[interval])

    dni = spread(weather.dni_wm2, clear.dni_wm2)
    ghi = spread(weather.ghi_wm2, clear.ghi_wm2)
    dhi = spread(weather.dhi_wm2, clear.dhi_wm2)
    # A whole hour's beam squeezed into a few minutes of low sun can exceed the sun itself.
    dni = np.minimum(dni, clear.extraterrestrial_wm2)
    columns = weather.temperature_c, weather.wind_ms
    air = (None if column is None else column[row] for column in columns)
    return Light(dni, ghi, dhi, clear.extraterrestrial_wm2, *air)
