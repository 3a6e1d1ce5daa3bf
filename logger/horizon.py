"""The horizon profile: elevation of the skyline against true azimuth, all the way round.

The meeting point of the program: the horizon room makes profiles, files bring them, the access
calculator reads them and knows nothing else of a survey.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from logger.arrays import Bools, Floats, floats, freeze_columns
from logger.geometry import in_sector, interpolate_azimuthal, wrap360

ObstructionKind = Literal["evergreen", "deciduous", "building", "terrain", "pole or wire", "other"]
OBSTRUCTION_KINDS: tuple[str, ...] = get_args(ObstructionKind)


@dataclass(frozen=True)
class Obstruction:
    """A named part of the skyline: the sector clockwise from one azimuth to another."""

    name: str
    from_azimuth_deg: float  # [deg]
    to_azimuth_deg: float
    kind: str = "other"  # One of `OBSTRUCTION_KINDS`
    distance_m: float | None = None  # From the point; None where unknown. [m]

    def __post_init__(self) -> None:
        if self.kind not in OBSTRUCTION_KINDS:
            raise ValueError(f"kind {self.kind!r} is none of {', '.join(OBSTRUCTION_KINDS)}")


LEAF_STATES = ("in leaf", "bare")


@dataclass(frozen=True)
class LeafSeen:
    """What a sweep saw of the deciduous trees."""

    day_of_year: int  # 1 to 366
    state: str  # One of `LEAF_STATES`

    def __post_init__(self) -> None:
        if self.state not in LEAF_STATES or not 1 <= self.day_of_year <= 366:
            raise ValueError(f"trees {self.state!r} on day {self.day_of_year} of the year")


@dataclass(frozen=True, eq=False)
class HorizonProfile:
    """Skyline elevation at nodes of azimuth, read with straight lines between them.

    Rows are brought into order of azimuth by a stable sort. Two rows of one azimuth are a
    vertical edge: the first belongs to the anticlockwise side, the last to the clockwise side.

    Parameters
    ----------
    azimuth_deg : array, shape (K,)
        Nodes, clockwise from true north. [deg]
    elevation_deg : array, shape (K,)
        NaN where the skyline was not measured: no value is ever invented. [deg]
    standard_error_deg : array, shape (K,), optional
        1 sigma of each node's elevation, random part; NaN where nothing is known of it. [deg]
    measured : bool array, shape (K,), optional
        Without it: wherever the elevation is a number.
    obstructions : tuple of Obstruction
    distance_m : array, shape (K,), optional
        To what makes the skyline; NaN where unknown. [m]
    heading_error_deg : float
        Standard error that turns the whole profile. [deg]
    level_error_deg : float
        Standard error that lifts or lowers the whole profile. [deg]
    correlation_deg : float
        Azimuth over which the random errors of neighbouring nodes are alike. [deg]
    rise_m : float
        How far above the module the sight stood from which this was seen; below it is negative.
        Whoever works with the profile carries it to the module. [m]
    leaf_seen : tuple of LeafSeen
        What the sweeps saw of the deciduous trees.
    least_deg : array, shape (N,) or None
        Elevation below which nothing ends where the skyline was not measured, at even azimuths from
        north on, as elevation data tell it; None where nothing is known. [deg]
    steps : tuple of str
        How it came about, oldest first.

    Raises
    ------
    ValueError
        Shapes differ, an azimuth is no number, or an elevation lies outside -90 to 90.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    standard_error_deg: Floats = field(default_factory=lambda: floats([]))
    measured: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))
    obstructions: tuple[Obstruction, ...] = ()
    distance_m: Floats = field(default_factory=lambda: floats([]))
    heading_error_deg: float = 0.0
    level_error_deg: float = 0.0
    correlation_deg: float = 3.0
    rise_m: float = 0.0
    leaf_seen: tuple[LeafSeen, ...] = ()
    least_deg: Floats | None = None
    steps: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        azimuth = np.asarray(wrap360(np.array(self.azimuth_deg, dtype=float)), dtype=float)
        if azimuth.ndim != 1 or azimuth.size == 0 or not np.isfinite(azimuth).all():
            raise ValueError("a horizon needs at least one azimuth, each a number")
        order = np.argsort(azimuth, kind="stable")
        object.__setattr__(self, "azimuth_deg", azimuth)
        untold = np.full(azimuth.shape, np.nan)
        for name, otherwise in (
            ("standard_error_deg", untold),
            ("distance_m", untold),
            ("measured", np.isfinite(np.asarray(self.elevation_deg))),
        ):
            if np.size(getattr(self, name)) == 0:
                object.__setattr__(self, name, otherwise)
        names = ("azimuth_deg", "elevation_deg", "standard_error_deg", "distance_m")
        for name in (*names, "measured"):
            values = np.asarray(getattr(self, name))
            if values.shape != azimuth.shape:
                raise ValueError(f"{name} has shape {values.shape}, azimuth {azimuth.shape}")
            object.__setattr__(self, name, values[order])
        freeze_columns(self, names)
        freeze_columns(self, ("measured",), dtype=np.bool_)
        if self.least_deg is not None:
            freeze_columns(self, ("least_deg",))
        known = self.elevation_deg[self.known]
        if not np.isfinite(known).all() or np.any(np.abs(known) > 90):
            raise ValueError("an elevation of a measured node is no number from -90 to 90")

    def __len__(self) -> int:
        return len(self.azimuth_deg)

    @property
    def known(self) -> Bools:
        """`measured`. Shape (K,)."""
        return self.measured

    @classmethod
    def level(cls) -> HorizonProfile:
        """The level horizon: elevation 0 all round, exactly."""
        return cls(np.array([0.0]), np.array([0.0]))

    def elevation_at(self, azimuth_deg: ArrayLike, unmeasured_deg: float = 0.0) -> Any:
        """Elevation of the skyline, straight lines between nodes."""
        filled = np.where(self.known, self.elevation_deg, unmeasured_deg)
        return interpolate_azimuthal(azimuth_deg, self.azimuth_deg, filled)

    def least_at(self, azimuth_deg: Floats) -> Floats:
        """Elevation that stands there at least; -90 where nothing is known."""
        if self.least_deg is None:
            return np.full(np.shape(azimuth_deg), -90.0)
        even = np.arange(len(self.least_deg)) * (360.0 / len(self.least_deg))
        return floats(interpolate_azimuthal(azimuth_deg, even, self.least_deg))

    def filled(self, unmeasured_deg: float) -> HorizonProfile:
        """The profile with every sector that was not measured at one elevation, or at its least.

        A sector counts as measured only between two neighbouring measured nodes; at its ends the
        skyline steps, so that nothing of a gap is bridged by a slope.
        """
        known = self.known
        if known.all():
            return self
        # A measured node beside a gap is doubled on that side; an unmeasured one takes the value.
        opens, ends = known & ~np.roll(known, 1), known & ~np.roll(known, -1)
        count = 1 + opens.astype(int) + ends
        at = np.repeat(np.arange(len(self)), count)
        place = np.arange(len(at)) - (np.cumsum(count) - count)[at]
        own = known[at] & (place == opens[at])
        least = np.maximum(unmeasured_deg, self.least_at(self.azimuth_deg[at]))
        elevation = np.where(own, self.elevation_deg[at], least)
        return replace(
            self,
            azimuth_deg=self.azimuth_deg[at],
            elevation_deg=elevation,
            standard_error_deg=np.where(own, self.standard_error_deg[at], 0.0),
            measured=np.ones(len(at), dtype=bool),
            distance_m=np.where(own, self.distance_m[at], np.nan),
        )

    def measured_at(self, azimuth_deg: ArrayLike) -> Any:
        """Whether both nodes around an azimuth were measured."""
        share = interpolate_azimuthal(azimuth_deg, self.azimuth_deg, self.known.astype(float))
        return share >= 1.0

    def distance_at(self, azimuth_deg: Floats) -> Floats:
        """Of what makes the skyline, its own or its obstruction's; NaN where unknown. [m]"""
        distance = np.full(azimuth_deg.shape, np.nan)
        for o in self.obstructions:
            if o.distance_m is not None:
                distance[in_sector(azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)] = (
                    o.distance_m
                )
        own = self.distance_m[np.searchsorted(self.azimuth_deg, azimuth_deg, side="right") - 1]
        return floats(np.where(np.isfinite(own), own, distance))

    def is_terrain_at(self, azimuth_deg: Floats) -> Bools:
        """Where the skyline is said to be terrain."""
        found = np.zeros(azimuth_deg.shape, dtype=bool)
        for o in self.obstructions:
            if o.kind == "terrain":
                found |= in_sector(azimuth_deg, o.from_azimuth_deg, o.to_azimuth_deg)
        return found

    def turned(self, angle_deg: float) -> HorizonProfile:
        """The profile turned clockwise, obstructions included."""
        return replace(
            self,
            azimuth_deg=self.azimuth_deg + angle_deg,
            least_deg=None,
            obstructions=tuple(
                replace(
                    o,
                    from_azimuth_deg=float(wrap360(o.from_azimuth_deg + angle_deg)),
                    to_azimuth_deg=float(wrap360(o.to_azimuth_deg + angle_deg)),
                )
                for o in self.obstructions
            ),
            steps=(*self.steps, f"turned by {angle_deg:+.2f}°"),
        )

    def names_at_nodes(self) -> list[str]:
        """Which obstruction each node belongs to, the first in order; empty where none.

        The two rows of a vertical edge belong to what stands on their own side of it.
        """
        names = [""] * len(self)
        edge = np.diff(self.azimuth_deg) == 0
        aside = 1e-6 * (np.r_[False, edge].astype(float) - np.r_[edge, False])
        for o in reversed(self.obstructions):
            inside = in_sector(self.azimuth_deg + aside, o.from_azimuth_deg, o.to_azimuth_deg)
            for i in np.flatnonzero(inside):
                names[i] = o.name
        return names

    def with_obstructions(self, obstructions: Sequence[Obstruction]) -> HorizonProfile:
        """The same skyline with other names on it."""
        return replace(self, obstructions=tuple(obstructions))
