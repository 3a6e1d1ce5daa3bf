"""The light the sky offers, minute by minute: of a clear sky, or of measured or typical weather.

Weather comes as means over intervals, an hour as a rule. A mean is spread over the minutes of its
interval in which the sun is up as the clear sky's own irradiance is, so that the interval keeps its
energy and the minutes their place under the sun: an hour that starts in the dark has all of its
light in the part after sunrise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from logger.access.weather import Weather
from logger.arrays import Floats, Ints, floats, lock_columns
from logger.settings import Settings
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
    source: str = ""  # In words
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        names = ["dni_wm2", "ghi_wm2", "dhi_wm2", "extraterrestrial_wm2"]
        names += [n for n in ("temperature_c", "wind_ms") if getattr(self, n) is not None]
        lock_columns(self, names)


def clear_sky(sun: SunYear, settings: Settings) -> Light:
    """A cloudless year by pvlib's Ineichen model.

    Air mass is Kasten and Young's of the apparent zenith, at the standard pressure of the site's
    elevation; turbidity is pvlib's table, interpolated to days.
    """
    import pvlib

    site = sun.site
    day, of = days_of(sun)
    extraterrestrial = _extraterrestrial(day)[of]
    zenith = 90.0 - sun.elevation_deg
    air_mass = pvlib.atmosphere.get_absolute_airmass(
        pvlib.atmosphere.get_relative_airmass(zenith), pvlib.atmosphere.alt2pres(site.altitude_m)
    )
    if settings.turbidity is None:
        turbidity = turbidity_of(day, site.latitude_deg, site.longitude_deg)[of]
        source = "clear sky all year (Ineichen, turbidity from pvlib's table)"
    else:
        turbidity = np.full(len(sun), settings.turbidity)
        source = f"clear sky all year (Ineichen, turbidity {settings.turbidity:g})"
    got = pvlib.clearsky.ineichen(zenith, air_mass, turbidity, site.altitude_m, extraterrestrial)
    return Light(
        floats(got["dni"]),
        floats(got["ghi"]),
        floats(np.maximum(got["dhi"], 0.0)),
        extraterrestrial,
        source=source,
    )


def days_of(sun: SunYear) -> tuple[Ints, Ints]:
    """The distinct UTC days of a sun year, and for each row which of them it is."""
    day = sun.minute // 1440
    first = int(day[0]) if len(day) else 0
    return np.arange(first, (int(day[-1]) if len(day) else first) + 1), day - first


def _extraterrestrial(day: Ints) -> Floats:
    import pvlib

    date = day.astype("datetime64[D]")
    of_year = (date - date.astype("datetime64[Y]")).astype(int) + 1
    return floats(pvlib.irradiance.get_extra_radiation(of_year))


def turbidity_of(day: Ints, latitude_deg: float, longitude_deg: float) -> Floats:
    """Linke turbidity of UTC days at a place, from pvlib's table."""
    import pandas as pd
    import pvlib

    index = pd.DatetimeIndex(day.astype("datetime64[D]").astype("datetime64[s]"), tz="UTC")
    # At the very edge of the map the table's index would run over by one.
    latitude = min(max(latitude_deg, -89.99), 89.99)
    longitude = min(max(longitude_deg, -179.99), 179.99)
    return floats(pvlib.clearsky.lookup_linke_turbidity(index, latitude, longitude).to_numpy())


def light_of(weather: Weather | None, sun: SunYear, settings: Settings) -> Light:
    """Weather spread over minutes; a clear sky where there is none."""
    clear = clear_sky(sun, settings)
    if weather is None:
        return clear
    row, interval = weather.rows_at(sun.minute)
    covered = row >= 0
    row = np.maximum(row, 0)
    notes = list(weather.notes)

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
    bounded = np.minimum(dni, clear.extraterrestrial_wm2)
    offered = weather.beam_offered_kwh_m2(sun.year)
    kept = float(bounded.sum()) / 60_000.0
    if offered > 0 and kept < 0.98 * offered:
        notes.append(
            f"{100 * (1 - kept / offered):.0f} % of the weather's beam falls into hours without "
            "sun at this site and is left out: do its times and place fit?"
        )
    unknown = ~np.isfinite(bounded + ghi + dhi)
    if unknown.any():
        bounded, ghi, dhi = (np.where(unknown, 0.0, v) for v in (bounded, ghi, dhi))
    return Light(
        bounded,
        ghi,
        dhi,
        clear.extraterrestrial_wm2,
        None if weather.temperature_c is None else weather.temperature_c[row],
        None if weather.wind_ms is None else weather.wind_ms[row],
        weather.source,
        tuple(notes),
    )
