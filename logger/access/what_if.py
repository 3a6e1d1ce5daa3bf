"""What if: the same place with something built, felled, cut back, grown, or of another kind.

Each function takes a horizon and gives a changed one, which says so in its steps; the survey itself
is never changed. What stands behind a thing that is taken away was never seen: unless its elevation
is given, the skyline is taken straight across from one side of the gap to the other, at most as
high as the thing itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from logger.access.sectors import Edit, Sector, changed_sector, outside, with_nodes
from logger.arrays import Floats, floats
from logger.errors import UsageError
from logger.geometry import angle_between, wrap360
from logger.horizon import OBSTRUCTION_KINDS, HorizonProfile, Obstruction

_NOTHING_DEG = -90.0  # beside a box: below any skyline


@dataclass(frozen=True)
class Box:
    """A planned building, or a row of panels, on level ground."""

    name: str
    azimuth_deg: float  # Of the middle of its near side, from the point. [deg]
    distance_m: float  # To that middle. [m]
    height_m: float  # Of its top above the sight point; a flat roof. [m]
    width_m: float  # Of the side that faces the point. [m]
    depth_m: float = 0.0  # Away from the point. [m]
    # Azimuth that the near side looks to; None is straight at the point. [deg]
    facing_deg: float | None = None

    def __post_init__(self) -> None:
        for what, value in (
            ("distance", self.distance_m),
            ("height", self.height_m),
            ("width", self.width_m),
        ):
            if not (math.isfinite(value) and value > 0):
                raise UsageError(f"{what} {value:g} m of {self.name} is not above 0")
        if not (math.isfinite(self.depth_m) and self.depth_m >= 0):
            raise UsageError(f"depth {self.depth_m:g} m of {self.name} is below 0")
        if not math.isfinite(self.azimuth_deg):
            raise UsageError(f"azimuth of {self.name} is no number")

    def corners_m(self) -> Floats:
        """East and north of the footprint's corners, in order around it. Shape (4, 2)."""
        towards = math.radians(self.azimuth_deg)
        middle = self.distance_m * np.array([math.sin(towards), math.cos(towards)])
        facing = self.azimuth_deg + 180.0 if self.facing_deg is None else self.facing_deg
        out = np.array([math.sin(math.radians(facing)), math.cos(math.radians(facing))])
        side = np.array([out[1], -out[0]]) * self.width_m / 2
        back = -out * self.depth_m
        return floats([middle - side, middle + side, middle + side + back, middle - side + back])

    def profile(self) -> HorizonProfile:
        """Its skyline: at each azimuth the nearest wall, ``tan e = height / distance``."""
        corners = self.corners_m()
        turn = np.degrees(np.arctan2(corners[:, 0], corners[:, 1]))
        steps = angle_between(np.roll(turn, -1), turn)
        if abs(float(steps.sum())) > 180.0 or np.hypot(*corners.T).min() < 1e-6:
            raise UsageError(f"the point lies inside {self.name}")
        offset = angle_between(turn, self.azimuth_deg)
        low, high = float(offset.min()), float(offset.max())
        if high - low >= 179.99:
            raise UsageError(f"{self.name} is as near as to stand all around the point")
        inner = np.concatenate([np.arange(low, high, 0.1), offset])
        at = np.unique(np.clip(inner, low + 1e-9, high - 1e-9))
        rays = np.radians(at + self.azimuth_deg)
        nearest = np.full(at.shape, np.inf)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            nearest = np.minimum(nearest, _along_ray(rays, a, b))
        # Where rounding lets a ray slip past a corner, the neighbours stand in.
        hit = np.isfinite(nearest)
        nearest = np.interp(at, at[hit], nearest[hit])
        elevation = np.degrees(np.arctan2(self.height_m, nearest))
        return HorizonProfile(
            wrap360(np.concatenate([[low], at, [high]]) + self.azimuth_deg),
            np.concatenate([[_NOTHING_DEG], elevation, [_NOTHING_DEG]]),
        )


def _along_ray(ray: Floats, a: Floats, b: Floats) -> Floats:
    """Distance along rays (azimuths in rad) to a wall from a to b; infinite where they miss."""
    east, north = np.sin(ray), np.cos(ray)
    wall = b - a
    across = east * wall[1] - north * wall[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (a[0] * wall[1] - a[1] * wall[0]) / across
        place = (a[0] * north - a[1] * east) / across
    hits = (distance > 0) & (place >= -1e-9) & (place <= 1 + 1e-9)
    return np.where(hits, distance, np.inf)


def added(horizon: HorizonProfile, box: Box) -> HorizonProfile:
    """With a building or a row in front."""
    front = box.profile()
    first = int(np.argmin(angle_between(front.azimuth_deg, box.azimuth_deg)))
    turned = np.roll(front.azimuth_deg, -first)
    start, end = float(turned[0]), float(turned[-1])
    split = with_nodes(horizon, np.concatenate([turned[1:-1], turned[[0, -1]] + [-1e-7, 1e-7]]))
    height = front.elevation_at(split.azimuth_deg)
    higher = height > np.where(split.known, split.elevation_deg, _NOTHING_DEG)
    higher &= height > _NOTHING_DEG
    obstructions = horizon.obstructions
    if higher.any():
        sector = Obstruction(box.name, start, end, "building", box.distance_m)
        rest = [part for o in obstructions for part in outside(o, start, end)]
        obstructions = (*rest, sector)
    return replace(
        split,
        elevation_deg=np.where(higher, height, split.elevation_deg),
        standard_error_deg=np.where(higher, 0.0, split.standard_error_deg),
        measured=split.known | higher,
        distance_m=np.where(higher, box.distance_m, split.distance_m),
        obstructions=obstructions,
        steps=(
            *horizon.steps,
            f"{box.name} added: {box.height_m:g} m high, {box.width_m:g} m wide, "
            f"{box.distance_m:g} m away at azimuth {box.azimuth_deg:g}°",
        ),
    )


def removed(horizon: HorizonProfile, name: str, behind_deg: float | None = None) -> HorizonProfile:
    """Without a named obstruction."""
    behind = "straight across" if behind_deg is None else f"{behind_deg:g}°"
    words = f"{name} removed, behind it {behind}"
    changed = _changed(
        horizon, name, words, lambda profile, sector: sector.lowered(profile, behind_deg)
    )
    return changed.with_obstructions([o for o in changed.obstructions if o.name != name])


def cut(horizon: HorizonProfile, name: str, elevation_deg: float) -> HorizonProfile:
    """With a named obstruction cut to an elevation."""
    if not -90 <= elevation_deg <= 90:
        raise UsageError(f"cannot cut {name} to {elevation_deg:g}°")
    return _changed(
        horizon,
        name,
        f"{name} cut to {elevation_deg:g}°",
        lambda profile, sector: sector.lowered(profile, elevation_deg),
    )


def grown(
    horizon: HorizonProfile,
    name: str,
    metres_a_year: float,
    years: float,
    distance_m: float | None = None,
) -> HorizonProfile:
    """With a named obstruction higher by its growth: ``tan e' = tan e + growth / distance``."""

    def higher(profile: HorizonProfile, sector: Sector) -> Floats:
        far = sector.obstruction.distance_m if distance_m is None else distance_m
        if far is None or not far > 0:
            raise UsageError(
                f"to let {name} grow its distance must be known",
                hint="give the distance in metres with the growth",
            )
        own = profile.elevation_deg
        tangent = np.tan(np.radians(np.clip(own, -89.9, 89.9))) + metres_a_year * years / far
        return np.where(sector.inside, np.degrees(np.arctan(tangent)), own)

    words = f"{name} grown by {metres_a_year:g} m a year for {years:g} years"
    return _changed(horizon, name, words, higher)


def of_kind(horizon: HorizonProfile, name: str, kind: str) -> HorizonProfile:
    """With a named obstruction of another kind; a deciduous one lets light through by season."""
    if kind not in OBSTRUCTION_KINDS:
        raise UsageError(f"kind {kind!r} is none of {', '.join(OBSTRUCTION_KINDS)}")
    changed = _changed(
        horizon, name, f"{name} taken as {kind}", lambda profile, _: profile.elevation_deg
    )
    return changed.with_obstructions(
        [replace(o, kind=kind) if o.name == name else o for o in changed.obstructions]
    )


def names_in(horizon: HorizonProfile) -> tuple[str, ...]:
    """The names that a what-if can use."""
    return tuple(dict.fromkeys(o.name for o in horizon.obstructions))


def _changed(profile: HorizonProfile, name: str, words: str, edit: Edit) -> HorizonProfile:
    """Give new elevations to every sector that bears a name."""
    if name not in names_in(profile):
        known = ", ".join(names_in(profile)) or "none"
        raise UsageError(f"no obstruction is called {name!r}", hint=f"names known: {known}")
    for o in [o for o in profile.obstructions if o.name == name]:
        profile = changed_sector(profile, o, edit)
    return replace(profile, steps=(*profile.steps, words))
