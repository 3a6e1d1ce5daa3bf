"""What if: the same place with something built, felled, cut back, grown, or bare in winter.

Each function takes surroundings and gives new ones; the survey itself is never changed. What stands
behind a thing that is taken away was never seen: unless its elevation is given, the skyline is
taken straight across from one side of the gap to the other, at most as high as the thing itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.access.crowns import Crown
from logger.access.surroundings import Layer, Surroundings
from logger.arrays import Bools, Floats, floats
from logger.errors import UsageError
from logger.geometry import angle_between, in_sector, wrap360
from logger.horizon import HorizonProfile, Obstruction
from logger.site import Site

_NOTHING_DEG = -90.0  # of a layer outside its obstruction: no error lifts it above level

_LONGEST_SLOPE_DEG = 15.0

Edit = Callable[[HorizonProfile, "_Sector"], Floats]


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


def added(horizon: HorizonProfile | Surroundings, box: Box) -> Surroundings:
    """With a building or a row in front."""
    before = Surroundings.of(horizon)
    layer = Layer(box.profile(), name=box.name, measured=False)
    return Surroundings(
        (*before.layers, layer),
        (
            *before.changes,
            f"{box.name} added: {box.height_m:g} m high, {box.width_m:g} m wide, "
            f"{box.distance_m:g} m away at azimuth {box.azimuth_deg:g}°",
        ),
    )


def removed(
    horizon: HorizonProfile | Surroundings, name: str, behind_deg: float | None = None
) -> Surroundings:
    """Without a named obstruction."""
    before = Surroundings.of(horizon)
    own = tuple(x for x in before.layers if x.name != name)
    if len(own) < len(before.layers) and own:
        return Surroundings(own, (*before.changes, f"{name} removed"))
    behind = "straight across" if behind_deg is None else f"{behind_deg:g}°"
    return _edited(
        before, name, f"{name} removed, behind it {behind}", _without(behind_deg), forget=True
    )


def cut(horizon: HorizonProfile | Surroundings, name: str, elevation_deg: float) -> Surroundings:
    """With a named obstruction cut to an elevation."""
    if not -90 <= elevation_deg <= 90:
        raise UsageError(f"cannot cut {name} to {elevation_deg:g}°")
    return _edited(
        Surroundings.of(horizon),
        name,
        f"{name} cut to {elevation_deg:g}°",
        lambda profile, sector: sector.lowered(profile, elevation_deg),
    )


def grown(
    horizon: HorizonProfile | Surroundings,
    name: str,
    metres_a_year: float,
    years: float,
    distance_m: float | None = None,
) -> Surroundings:
    """With a named obstruction higher by its growth: ``tan e' = tan e + growth / distance``."""

    def higher(profile: HorizonProfile, sector: _Sector) -> Floats:
        far = sector.obstruction.distance_m if distance_m is None else distance_m
        if far is None or not far > 0:
            raise UsageError(
                f"to let {name} grow its distance must be known",
                hint="give the distance in metres with the growth",
            )
        own = profile.elevation_deg
        tangent = np.tan(np.radians(np.clip(own, -89.9, 89.9))) + metres_a_year * years / far
        return np.where(sector.inside, np.degrees(np.arctan(tangent)), own)

    return _edited(
        Surroundings.of(horizon),
        name,
        f"{name} grown by {metres_a_year:g} m a year for {years:g} years",
        higher,
    )


def seasonal(
    horizon: HorizonProfile | Surroundings,
    name: str,
    site: Site,
    year: int,
    crown: Crown | None = None,
    behind_deg: float | None = None,
) -> Surroundings:
    """With a named tree letting light through, more when it is bare.

    The tree becomes a layer of its own before what is taken to stand behind it.
    """
    before = Surroundings.of(horizon)
    crown = crown or Crown()
    trees = []
    for layer in before.layers:
        for o in layer.obstructions:
            if o.name == name:
                split, sector = _sector(layer.profile, o)
                crown_nodes = sector.inside | sector.left | sector.right
                profile = replace(
                    split,
                    elevation_deg=np.where(crown_nodes, split.elevation_deg, _NOTHING_DEG),
                    measured=split.known | ~crown_nodes,
                    obstructions=(),
                )
                trees.append(
                    Layer(profile, crown.monthly(site, year), name, measured=layer.measured)
                )
    days = crown.days_in_leaf(site)
    when = "all year" if days is None else f"from day {days[0]} to {days[1]} of the year"
    rest = _edited(
        before,
        name,
        f"{name} lets {100 * crown.in_leaf:.0f} % of the light through in leaf ({when}), "
        f"{100 * crown.bare:.0f} % when bare",
        _without(behind_deg),
        forget=True,
    )
    return Surroundings((*rest.layers, *trees), rest.changes)


def names_in(horizon: HorizonProfile | Surroundings) -> tuple[str, ...]:
    """The names that a what-if can use."""
    layers = Surroundings.of(horizon).layers
    found = [o.name for x in layers for o in x.obstructions] + [x.name for x in layers if x.name]
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, eq=False)
class _Sector:
    """Which nodes of a profile belong to an obstruction, and the slopes that lead up to it.

    A skyline read with straight lines climbs to an obstruction over the gap between two nodes, and
    a label's border falls somewhere on that slope: what takes the obstruction away must take its
    slopes too.
    """

    obstruction: Obstruction
    # Nodes of the sector, and of the slopes before and behind it. Shape (K,).
    inside: Bools
    left: Bools
    right: Bools
    # Where the slopes start: the skyline beside the obstruction. [deg]
    left_deg: float
    right_deg: float

    def lowered(self, profile: HorizonProfile, to_deg: float | None) -> Floats:
        """Elevations with the sector no higher than an angle, or than straight across it."""
        own = profile.elevation_deg
        left, right = self.left_deg, self.right_deg
        if to_deg is None:
            width = wrap360(self.obstruction.to_azimuth_deg - self.obstruction.from_azimuth_deg)
            along = wrap360(profile.azimuth_deg - self.obstruction.from_azimuth_deg)
            share = np.clip(along / (float(width) or 360.0), 0.0, 1.0)
            limit = left + (right - left) * share
        else:
            limit = np.full(own.shape, to_deg)
            left, right = max(left, to_deg), max(right, to_deg)
        limit = np.select([self.inside, self.left, self.right], [limit, left, right], np.inf)
        return floats(np.minimum(own, limit))


def _without(behind_deg: float | None) -> Edit:
    return lambda profile, sector: sector.lowered(profile, behind_deg)


def _edited(
    surroundings: Surroundings, name: str, change: str, edit: Edit, forget: bool = False
) -> Surroundings:
    """Give new elevations to every sector that bears a name."""
    if name not in names_in(surroundings):
        known = ", ".join(names_in(surroundings)) or "none"
        raise UsageError(f"no obstruction is called {name!r}", hint=f"names known: {known}")
    layers = []
    for layer in surroundings.layers:
        profile = layer.profile
        sectors: Sequence[Obstruction] = [o for o in layer.obstructions if o.name == name]
        if layer.name == name:
            sectors = [Obstruction(name, 0.0, 360.0)]
        for o in sectors:
            profile, sector = _sector(profile, o)
            profile = replace(profile, elevation_deg=edit(profile, sector))
        if forget:
            kept = [o for o in profile.obstructions if o.name != name]
            profile = profile.with_obstructions(kept)
        layers.append(replace(layer, profile=profile))
    return Surroundings(tuple(layers), (*surroundings.changes, change))


def _sector(profile: HorizonProfile, o: Obstruction) -> tuple[HorizonProfile, _Sector]:
    """The profile with vertical edges at a sector's ends, and its nodes sorted out."""
    nobody = np.zeros(len(profile), dtype=bool)
    if o.to_azimuth_deg - o.from_azimuth_deg >= 360.0:
        return profile, _Sector(o, ~nobody, nobody, nobody, 0.0, 0.0)
    start, end = float(wrap360(o.from_azimuth_deg)), float(wrap360(o.to_azimuth_deg))
    for azimuth in (start, end):
        profile = _with_edge(profile, azimuth)
    at = profile.azimuth_deg
    inside = np.asarray(in_sector(at, start, end), dtype=bool)
    first, last = np.flatnonzero(at == start), np.flatnonzero(at == end)
    inside[first[:-1]] = False
    inside[last[1:]] = False
    inside[first[-1]] = inside[last[0]] = True
    before, behind = wrap360(start - at), wrap360(at - end)
    left, left_deg = _slope(profile, ~inside, before)
    right, right_deg = _slope(profile, ~inside, behind)
    return profile, _Sector(o, inside, left, right & ~left, left_deg, right_deg)


def _slope(profile: HorizonProfile, outside: Bools, away_deg: Floats) -> tuple[Bools, float]:
    """Nodes between a sector and the next node at least a degree away, and the lowest of all."""
    beyond = away_deg[outside & (away_deg >= 1.0)]
    reach = float(beyond.min()) if beyond.size else 360.0
    slope = outside & (away_deg <= min(reach, _LONGEST_SLOPE_DEG))
    seen = profile.elevation_deg[slope & profile.known]
    return slope, float(seen.min()) if seen.size else 0.0


def _with_edge(profile: HorizonProfile, azimuth_deg: float) -> HorizonProfile:
    """The same skyline with at least two nodes at an azimuth."""
    at = profile.azimuth_deg
    here = np.flatnonzero(at == azimuth_deg)
    if len(here) >= 2:
        return profile
    n = len(profile)
    place = int(np.searchsorted(at, azimuth_deg))
    before, after = (place - 1) % n, place % n
    if len(here) == 1:
        share = 0.0
        before = after = int(here[0])
        copies = 1
    else:
        gap = float(wrap360(at[after] - at[before])) or 360.0
        share = float(wrap360(azimuth_deg - at[before])) / gap
        copies = 2

    def column(values: Floats | None) -> Floats | None:
        if values is None:
            return None
        new = values[before] + (values[after] - values[before]) * share
        return floats(np.insert(values, place, [new] * copies))

    known = bool(profile.known[before] and profile.known[after])
    elevation = column(np.where(profile.known, profile.elevation_deg, np.nan))
    assert elevation is not None
    return replace(
        profile,
        azimuth_deg=np.insert(at, place, [azimuth_deg] * copies),
        elevation_deg=elevation,
        standard_error_deg=column(profile.standard_error_deg),
        measured=np.insert(profile.known, place, [known] * copies),
        distance_m=column(profile.distance_m),
    )
