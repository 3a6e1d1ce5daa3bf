"""The skies that figures rest on: one that is known, or many that could be.

A sky is a mixture of lights: how much of each, before noon and after, month by month. A weather
record is one light, all of it. Where nobody knows the sky it is mixed of a year of clear air, one
of haze and broken cloud that hide a low sun first, and an overcast one, and a thousand mixtures are
drawn from this prior:

- clearness of the months, irradiation over that outside the air: `mean_clearness` of the latitude,
  with a standard error of `CLEARNESS_ERROR` for the place and `MONTH_ERROR` for a month,
  neighbouring months alike by `MONTH_CORRELATION`;
- the diffuse part that belongs to a clearness: that of Erbs and others (1982), within
  `DIFFUSE_ERROR` of it;
- how much of the clear time is haze and broken cloud: `HAZE`, give or take `HAZE_ERROR`. Its
  turbidity is pvlib's table times the second of `TURBIDITY_FACTORS`, that of clear air times the
  first, and broken cloud lets ``1 - exp(-elevation / BROKEN_CLOUD_DEG)`` of the beam through;
- mornings clearer than afternoons or the other way round, by `NOON_ERROR` of the beam for the place
  and as much again for a month.

All of these numbers are common practice, no source; `benchmarks/interval_coverage.py` holds them
against typical years of different climates. How much of the diffuse light comes from the sun's
direction is drawn under every sky: Hay and Davies's share, give or take `CIRCUMSOLAR_ERROR`
(likewise).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.access.irradiance import CIRCUMSOLAR_SHARE, HALVES, MONTHS
from logger.access.light import Light, clear_sky, weather_light
from logger.access.monthly_means import declination, diffuse_fraction, sunset_hour_angle
from logger.access.sky import UNKNOWN_SKY, Sky
from logger.access.weather import MONTH_STARTS, Weather
from logger.access.weather_checks import weather_checks
from logger.arrays import Floats, floats
from logger.checks import Check
from logger.settings import Settings
from logger.sun import SunYear

CLEARNESS_ERROR = 0.08
MONTH_ERROR, MONTH_CORRELATION = 0.08, 0.75
DIFFUSE_ERROR = 0.15
HAZE, HAZE_ERROR = 0.5, 0.4
NOON_ERROR = 0.10
CIRCUMSOLAR_ERROR = 0.3

TURBIDITY_FACTORS = (0.6, 1.6)
BROKEN_CLOUD_DEG = 20.0

_FOR_THE_MIDDLE = 1000

LEAST_CLEARNESS, MOST_CLEARNESS = 0.15, 0.78
"""What a month on Earth can have."""


def mean_clearness(latitude_deg: float) -> float:
    """The middle of the prior: sunny up to 35 degrees of latitude, dull from 55."""
    return float(np.interp(abs(latitude_deg), (35.0, 55.0), (0.54, 0.40)))


@dataclass(frozen=True, eq=False)
class Skies:
    """Lights, and how much of each makes a sky."""

    sky: Sky
    lights: tuple[Light, ...]
    middle: Floats  # The sky that printed figures rest on, by light, half day, month: (K, 2, 12).
    drawn: Floats  # Skies that could be; one, where it is known. Shape (n, K, 2, 12).
    circumsolar: float  # Share of Hay and Davies's circumsolar light in the printed figures
    drawn_circumsolar: Floats  # Shape (n,)
    notes: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()  # Whether weather is sound, and the site's


def skies_of(weather: Weather | None, sun: SunYear, settings: Settings) -> Skies:
    """The sky of a weather record, or the prior where there is none."""
    n = max(settings.draws, 1)
    middle = CIRCUMSOLAR_SHARE[settings.transposition]
    error = np.random.default_rng([settings.seed, 4]).standard_normal(n) * CIRCUMSOLAR_ERROR
    circumsolar = np.maximum(middle + error, 0.0)
    if weather is not None:
        (clear,) = clear_sky(sun)
        light, whole = weather_light(weather, sun, clear), np.ones((1, HALVES, MONTHS))
        checks = weather_checks(weather, sun, light, clear)
        return Skies(
            weather.sky, (light,), whole, whole[None], middle, circumsolar, weather.notes, checks
        )
    turbidity = settings.turbidity
    of = "" if turbidity is None else f", turbidity {turbidity:g}"
    words = f"not known: drawn between clear and overcast{of}"
    clear, hazy = clear_sky(sun, turbidity, TURBIDITY_FACTORS if turbidity is None else (1.0, 1.0))
    lights = clear, *_dulled(sun, hazy, (clear.ghi_wm2 + hazy.ghi_wm2) / 2)
    # Always as many, so that the middle does not hang on how many are asked for.
    many = _mixtures(sun, lights, *_drawn(max(n, _FOR_THE_MIDDLE), settings.seed))
    average = np.mean(many, axis=0)
    return Skies(
        Sky(UNKNOWN_SKY, words),
        lights,
        average,
        many[:n] if settings.draws else average[None],
        middle,
        circumsolar,
    )


def _dulled(sun: SunYear, hazy: Light, ghi_wm2: Floats) -> tuple[Light, Light]:
    """Haze and broken cloud, and a sky that sends all of its light from everywhere."""
    passes = 1.0 - np.exp(-sun.elevation_deg / BROKEN_CLOUD_DEG)
    held = hazy.dni_wm2 * (1.0 - passes) * sun.vectors[2]
    outside = hazy.extraterrestrial_wm2
    return (
        Light(hazy.dni_wm2 * passes, hazy.ghi_wm2, hazy.dhi_wm2 + held, outside),
        Light(np.zeros(len(sun)), ghi_wm2, ghi_wm2, outside),
    )


def _drawn(n: int, seed: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Errors of clearness, of the diffuse part, of haze and of mornings, as shares; (n, 12)."""
    rng = np.random.default_rng([seed, 1])
    apart = np.abs(np.subtract.outer(np.arange(MONTHS), np.arange(MONTHS)))
    alike = np.linalg.cholesky(MONTH_CORRELATION ** np.minimum(apart, MONTHS - apart))

    def months(place: float, month: float) -> Floats:
        of_month = rng.standard_normal((n, MONTHS)) @ alike.T
        return floats(place * rng.standard_normal((n, 1)) + month * of_month)

    return (
        months(CLEARNESS_ERROR, MONTH_ERROR),
        months(DIFFUSE_ERROR / 2**0.5, DIFFUSE_ERROR / 2**0.5),
        months(HAZE_ERROR, 0.0),
        months(NOON_ERROR, NOON_ERROR),
    )


def _mixtures(
    sun: SunYear,
    lights: tuple[Light, ...],
    clearness: Floats,
    diffuse: Floats,
    haze_error: Floats,
    morning: Floats,
) -> Floats:
    """How much of clear, hazy and overcast light makes skies with such errors. (n, 3, 2, 12)"""
    height = sun.vectors[2]

    def months(watts: Floats) -> Floats:
        return floats(np.bincount(sun.month, watts, minlength=MONTHS))

    offered = months(lights[0].extraterrestrial_wm2 * height)
    clean_b, hazy_b = (months(light.dni_wm2 * height) for light in lights[:2])
    clean_d, hazy_d = (months(light.dhi_wm2) for light in lights[:2])
    haze = np.clip(HAZE + haze_error, 0.0, 1.0)
    beam, clear_diffuse = clean_b + haze * (hazy_b - clean_b), clean_d + haze * (hazy_d - clean_d)
    k = np.clip(mean_clearness(sun.site.latitude_deg) + clearness, LEAST_CLEARNESS, MOST_CLEARNESS)
    share = np.clip(diffuse_fraction(k, _sunset_deg(sun)) * (1.0 + diffuse), 0.05, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        # As much of the time is clear as the beam needs; the rest of the diffuse light is overcast.
        clear = np.nan_to_num(np.clip((1.0 - share) * k * offered / beam, 0.0, 1.0))
        overcast = np.nan_to_num(
            (share * k * offered - clear * clear_diffuse) / months(lights[2].ghi_wm2)
        )
    overcast = np.maximum(overcast, 0.0)
    halves = np.stack([1.0 + morning, 1.0 - morning], axis=1)
    by_half = np.clip(clear[:, None] * halves, 0.0, 1.0)
    # What is clearer by as much less overcast.
    rest = (1.0 - by_half) / np.maximum(1.0 - clear, 0.05)[:, None]
    dull = overcast[:, None] * np.clip(rest, 0.0, 2.0)
    return floats(np.stack([by_half * (1 - haze[:, None]), by_half * haze[:, None], dull], axis=1))


def _sunset_deg(sun: SunYear) -> Floats:
    """Sunset hour angle in the middle of each month. [deg]"""
    return sunset_hour_angle(sun.site.latitude_deg, declination(MONTH_STARTS + 16))
