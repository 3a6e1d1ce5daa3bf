"""Which parts of the skyline were seen, and which of them matter to the sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Bools, Floats, Ints, floats, freeze_columns
from logger.checks import Check
from logger.geometry import wrap360
from logger.horizon import HorizonProfile

OBLIQUITY_DEG = 23.44
"""The sun's greatest declination. [deg]"""

SPACING_LIMIT_DEG = 15.0
"""A skyline told by points further apart is an outline drawn from memory (common practice, no
source). [deg]"""

UNMEASURED_LIMIT_DEG, THIN_LIMIT_DEG, DISAGREEING_LIMIT_DEG = 3.0, 10.0, 10.0
"""Azimuth that the sun crosses and that no pass saw, one alone saw, or passes differ over, at most
(common practice, no source). [deg]"""

DISAGREEMENT_DEG = 2.0
"""Two passes that differ by more than this over a stretch disagree (common practice, no source).
[deg]"""


@dataclass(frozen=True)
class Sector:
    """Part of the circle, clockwise from one azimuth to another; the whole is 0 to 360."""

    # [deg]
    from_azimuth_deg: float
    to_azimuth_deg: float

    @property
    def width_deg(self) -> float:
        """[deg]."""
        return float(wrap360(self.to_azimuth_deg - self.from_azimuth_deg)) or 360.0

    def __str__(self) -> str:
        start, end = f"{self.from_azimuth_deg:.0f}", f"{self.to_azimuth_deg:.0f}"
        return f"about {start}°" if start == end else f"{start} to {end}°"


@dataclass(frozen=True, eq=False)
class Coverage:
    """What was seen of each cell of the grid."""

    azimuth_deg: Floats  # Middle of each cell. [deg] Shape (K,).
    passes: Ints  # How many passes saw it; a held vertex counts as two. Shape (K,).
    disagreeing: Bools  # Passes differ there by more than the limit. Shape (K,).
    # The sun stands above this azimuth at some time of some day of the year. Shape (K,).
    sun_crossed: Bools

    def __post_init__(self) -> None:
        n = freeze_columns(self, ("azimuth_deg",))
        freeze_columns(self, ("passes",), dtype=np.int64, length=n)
        freeze_columns(self, ("disagreeing", "sun_crossed"), dtype=np.bool_, length=n)

    @property
    def unmeasured(self) -> tuple[Sector, ...]:
        """Sun-crossed sectors that no pass saw."""
        return sectors(self.sun_crossed & (self.passes == 0))

    @property
    def thin(self) -> tuple[Sector, ...]:
        """Sun-crossed sectors that one pass saw and none checked."""
        return sectors(self.sun_crossed & (self.passes == 1))

    @property
    def disputed(self) -> tuple[Sector, ...]:
        """Sun-crossed sectors where passes disagree."""
        return sectors(self.sun_crossed & self.disagreeing)

    @property
    def checks(self) -> tuple[Check, ...]:
        """Whether enough of what the sun crosses was seen, twice, and alike."""
        crossed = "of the azimuths the sun crosses"
        return (
            _check(
                "sun-crossed sectors measured",
                self.unmeasured,
                UNMEASURED_LIMIT_DEG,
                f"{crossed} were not measured",
                "go back to",
            ),
            _check(
                "sun-crossed sectors seen twice",
                self.thin,
                THIN_LIMIT_DEG,
                f"{crossed} were seen in one pass only",
                "sweep again over",
            ),
            _check(
                "passes agree",
                self.disputed,
                DISAGREEING_LIMIT_DEG,
                f"{crossed} lie where passes differ by more than {DISAGREEMENT_DEG:g}°",
                "trace again",
            ),
        )


def _check(name: str, found: tuple[Sector, ...], limit_deg: float, what: str, advice: str) -> Check:
    value = sum(s.width_deg for s in found)
    why = f"{value:.1f}° {what}"
    if value > limit_deg:
        widest = sorted(found, key=lambda s: -s.width_deg)[:4]
        why += f": {advice} " + ", ".join(map(str, widest))
    return Check(name, value <= limit_deg, float(value), limit_deg, "deg", why)


def sun_elevation_range(azimuth_deg: ArrayLike, latitude_deg: float) -> Any:
    """Lowest and highest elevation at which the sun crosses azimuths over the year.

    With declination d: ``sin d = sin(lat) sin e + cos(lat) cos e cos A``, so an elevation is
    reached at an azimuth when that d lies within the obliquity of 23.44 degrees. Geometric,
    without refraction.
    """
    e = np.radians(np.arange(0.0, 90.01, 0.25))[:, None]
    a = np.radians(np.atleast_1d(floats(azimuth_deg)))[None, :]
    lat = np.radians(latitude_deg)
    sin_d = np.sin(lat) * np.sin(e) + np.cos(lat) * np.cos(e) * np.cos(a)
    reached = np.abs(sin_d) <= np.sin(np.radians(OBLIQUITY_DEG))
    any_reached = reached.any(axis=0)
    low = np.where(any_reached, np.degrees(e[np.argmax(reached, axis=0), 0]), np.nan)
    last = len(e) - 1 - np.argmax(reached[::-1], axis=0)
    high = np.where(any_reached, np.degrees(e[last, 0]), np.nan)
    return low, high


def sun_crosses(azimuth_deg: ArrayLike, latitude_deg: float) -> Bools:
    """Whether the sun stands above azimuths at some time of the year."""
    return np.asarray(np.isfinite(sun_elevation_range(azimuth_deg, latitude_deg)[1]), dtype=bool)


def sectors(marked: Bools | Sequence[bool]) -> tuple[Sector, ...]:
    """Runs of marked cells round the circle as sectors, clockwise from north."""
    mask = np.asarray(marked, dtype=bool)
    n = mask.size
    if n == 0 or not mask.any():
        return ()
    if mask.all():
        return (Sector(0.0, 360.0),)
    step = 360.0 / n
    starts = np.flatnonzero(mask & ~np.roll(mask, 1))
    ends = np.flatnonzero(mask & ~np.roll(mask, -1)) + 1
    if ends[0] <= starts[0]:
        ends = np.roll(ends, -1)
    return tuple(
        Sector(float(a * step), float(wrap360(b * step))) for a, b in zip(starts, ends, strict=True)
    )


def spacing_check(profile: HorizonProfile, latitude_deg: float) -> Check:
    """Whether a profile's nodes stand close enough to be a skyline, as far as the sun goes."""
    start, first = np.unique(profile.azimuth_deg, return_index=True)
    last = np.append(first[1:], len(profile)) - 1
    unknown = np.isin(start, profile.azimuth_deg[~profile.known])
    elevation = profile.elevation_deg
    is_open = (elevation[last] <= 0) & (np.roll(elevation[first], -1) <= 0)
    cells = np.arange(0.5, 360.0)
    crossed = sun_crosses(cells, latitude_deg)
    # The stretch that each degree lies in; the last one runs on through north.
    stretch = (np.searchsorted(start, cells) - 1) % len(start)
    told = unknown | np.roll(unknown, -1) | is_open
    width = np.bincount(stretch[crossed & ~told[stretch]], minlength=len(start))
    widest = int(np.argmax(width))
    passed = bool(width[widest] <= SPACING_LIMIT_DEG)
    why = f"{len(start)} azimuths, no gap that the sun crosses wider than {width[widest]}°"
    if not passed:
        following = start[(widest + 1) % len(start)]
        why = (
            f"{len(start)} azimuths and nothing between {start[widest]:.0f} and {following:.0f}°, "
            f"of which the sun crosses {width[widest]}°: a straight line is drawn there; give the "
            f"skyline every {SPACING_LIMIT_DEG:.0f}° or closer"
        )
    value = float(width[widest])
    return Check("horizon points close enough", passed, value, SPACING_LIMIT_DEG, "deg", why)
