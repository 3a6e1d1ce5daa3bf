"""Solar access by a straightforward pvlib script: the yardstick for logger.access.

The same physics written down plainly: pvlib's full solar position at every minute, its clear sky
and its transposition, the horizon read at every minute, pandas to sum by month. No computation of
the program is used, so that it is an independent check as well as a measure of time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib

from logger.access import Weather

DISC_RADIUS_DEG = 0.2665


@dataclass(frozen=True)
class Case:
    """A site, a plane and a horizon given at even steps of azimuth from north."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    tilt_deg: float
    azimuth_deg: float
    horizon_deg: np.ndarray
    year: int = 2026


def minutes_of(case: Case) -> pd.DatetimeIndex:
    """Every whole UTC minute of the local mean solar year."""
    ahead = pd.Timedelta(minutes=4 * case.longitude_deg)
    start = pd.Timestamp(case.year, 1, 1, tz="UTC") - ahead
    end = pd.Timestamp(case.year + 1, 1, 1, tz="UTC") - ahead
    return pd.date_range(start.ceil("min"), end, freq="min", inclusive="left")


def months_of(times: pd.DatetimeIndex, case: Case) -> np.ndarray:
    """Month of local mean solar time, 1 to 12."""
    return (times + pd.Timedelta(minutes=4 * case.longitude_deg)).month.to_numpy()


def horizon_at(azimuth_deg: np.ndarray, case: Case) -> np.ndarray:
    """Straight lines between the horizon's points; negative elevations count as 0."""
    closed = np.append(case.horizon_deg, case.horizon_deg[0])
    steps = np.linspace(0.0, 360.0, len(closed))
    return np.maximum(np.interp(azimuth_deg, steps, closed), 0.0)


def disc_share(height_deg: np.ndarray) -> np.ndarray:
    """Share of the sun's disc above an edge."""
    x = np.clip(height_deg / DISC_RADIUS_DEG, -1, 1)
    return 0.5 + (x * np.sqrt(1 - x**2) + np.arcsin(x)) / np.pi


def sky_view(case: Case, *, open_sky: bool) -> float:
    """The plane's view of the sky, summed over cells of half a degree."""
    azimuth = np.radians(np.arange(0.25, 360, 0.5))
    elevation = np.radians(np.arange(0.25, 90, 0.5))[:, None]
    tilt, plane = np.radians(case.tilt_deg), np.radians(case.azimuth_deg)
    cos_i = np.cos(tilt) * np.sin(elevation) + np.sin(tilt) * np.cos(elevation) * np.cos(
        azimuth - plane
    )
    seen = np.maximum(cos_i, 0) * np.cos(elevation)
    if not open_sky:
        seen = seen * (np.degrees(elevation) > horizon_at(np.degrees(azimuth), case))
    return float(seen.sum() * np.radians(0.5) ** 2 / np.pi)


def sun_and_sky(case: Case) -> tuple[pd.DatetimeIndex, pd.DataFrame, pd.DataFrame]:
    """Every minute's full solar position and clear sky."""
    times = minutes_of(case)
    place = pvlib.location.Location(case.latitude_deg, case.longitude_deg, altitude=case.altitude_m)
    sun = place.get_solarposition(times)
    return times, sun, place.get_clearsky(times, solar_position=sun)


def solar_access(
    case: Case, known: tuple[pd.DatetimeIndex, pd.DataFrame, pd.DataFrame] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Solar and beam access, January to December and the year."""
    times, sun, sky = sun_and_sky(case) if known is None else known
    extra = pvlib.irradiance.get_extra_radiation(times)
    cos_i = pvlib.irradiance.aoi_projection(
        case.tilt_deg, case.azimuth_deg, sun["apparent_zenith"], sun["azimuth"]
    ).clip(lower=0)
    diffuse = pvlib.irradiance.haydavies(
        case.tilt_deg,
        case.azimuth_deg,
        sky["dhi"],
        sky["dni"],
        extra,
        sun["apparent_zenith"],
        sun["azimuth"],
        return_components=True,
    )
    beam = sky["dni"] * cos_i
    sunward = beam + diffuse["poa_circumsolar"]
    ground = pvlib.irradiance.get_ground_diffuse(case.tilt_deg, sky["ghi"], albedo=0.2)
    up = sun["apparent_elevation"] > 0
    height = sun["apparent_elevation"].to_numpy()
    visible = disc_share(height - horizon_at(sun["azimuth"].to_numpy(), case)) * up
    on_level = disc_share(height) * up
    view = sky_view(case, open_sky=False) / sky_view(case, open_sky=True)
    table = pd.DataFrame(
        {
            "received": sunward * visible + diffuse["poa_isotropic"] * view + ground,
            "offered": sunward * on_level + diffuse["poa_isotropic"] + ground,
            "beam": beam * visible,
            "beam_offered": beam * on_level,
        }
    )
    monthly = table.groupby(months_of(times, case)).sum()
    whole = pd.concat([monthly, monthly.sum().to_frame().T])
    return (
        (whole["received"] / whole["offered"]).to_numpy(),
        (whole["beam"] / whole["beam_offered"]).to_numpy(),
    )


def as_weather(times: pd.DatetimeIndex, sky: pd.DataFrame) -> Weather:
    """The script's clear sky as the program takes weather, minute by minute."""
    new_year = pd.Timestamp(times[len(times) // 2].year, 1, 1, tz="UTC")
    ahead = (new_year - times[0]) // pd.Timedelta(minutes=1)
    columns = (sky[name].to_numpy() for name in ("ghi", "dni", "dhi"))
    return Weather(*columns, step_min=1, utc_offset_min=ahead, source="clear sky")


if __name__ == "__main__":
    example = Case(46.05, 14.51, 310.0, 35.0, 180.0, np.full(360, 10.0))
    solar, beam = solar_access(example)
    print("solar access", np.round(solar, 4))
    print("beam access ", np.round(beam, 4))
