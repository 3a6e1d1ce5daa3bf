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
from logger.angles import angle_between, in_sector, wrap360
from logger.columns import Bools, Floats, floats
from logger.errors import UsageError
from logger.profile import HorizonProfile, Obstruction
from logger.site import Site

_NOTHING_DEG = -90.0  # of a layer outside its obstruction: no error lifts it above level

Edit = Callable[[HorizonProfile, Bools, Obstruction], Floats]


@dataclass(frozen=True)
class Box:
    """A planned building, or a row of panels, on level ground.

    Parameters
    ----------
    name : str
    azimuth_deg : float
        Of the middle of its near side, from the point. [deg]
    distance_m : float
        To that middle. [m]
    height_m : float
        Of its top above the sight point; a flat roof. [m]
    width_m : float
        Of the side that faces the point. [m]
    depth_m : float
        Away from the point. [m]
    facing_deg : float or None
        Azimuth that the near side looks to; None is straight at the point. [deg]

    Raises
    ------
    UsageError
        A measure is no positive number.
    """

    name: str
    azimuth_deg: float
    distance_m: float
    height_m: float
    width_m: float
    depth_m: float = 0.0
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
        """Its skyline: at each azimuth the nearest wall, ``tan e = height / distance``.

        Raises
        ------
        UsageError
            The point lies inside it.
        """
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
    """With a building or a row in front.

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    box : Box
    """
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
    """Without a named obstruction.

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    name : str
    behind_deg : float, optional
        Elevation of what stands behind it; without it, straight across. [deg]

    Raises
    ------
    UsageError
        Nothing bears the name.
    """
    before = Surroundings.of(horizon)
    own = tuple(x for x in before.layers if x.name != name)
    if len(own) < len(before.layers) and own:
        return Surroundings(own, (*before.changes, f"{name} removed"))
    behind = "straight across" if behind_deg is None else f"{behind_deg:g}°"
    return _edited(
        before, name, f"{name} removed, behind it {behind}", _without(behind_deg), forget=True
    )


def cut(horizon: HorizonProfile | Surroundings, name: str, elevation_deg: float) -> Surroundings:
    """With a named obstruction cut to an elevation.

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    name : str
    elevation_deg : float
        Of what is left, seen from the point. [deg]

    Raises
    ------
    UsageError
        Nothing bears the name, or the elevation is outside -90 to 90.
    """
    if not -90 <= elevation_deg <= 90:
        raise UsageError(f"cannot cut {name} to {elevation_deg:g}°")
    return _edited(
        Surroundings.of(horizon),
        name,
        f"{name} cut to {elevation_deg:g}°",
        lambda profile, inside, _: np.minimum(profile.elevation_deg[inside], elevation_deg),
    )


def grown(
    horizon: HorizonProfile | Surroundings,
    name: str,
    metres_a_year: float,
    years: float,
    distance_m: float | None = None,
) -> Surroundings:
    """With a named obstruction higher by its growth: ``tan e' = tan e + growth / distance``.

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    name : str
    metres_a_year : float
        Negative shrinks. [m/year]
    years : float
        [years]
    distance_m : float, optional
        To it; without it, what the survey says. [m]

    Raises
    ------
    UsageError
        Nothing bears the name, or nobody knows its distance.
    """

    def higher(profile: HorizonProfile, inside: Bools, obstruction: Obstruction) -> Floats:
        far = obstruction.distance_m if distance_m is None else distance_m
        if far is None or not far > 0:
            raise UsageError(
                f"to let {name} grow its distance must be known",
                hint="give the distance in metres with the growth",
            )
        elevation = np.radians(np.clip(profile.elevation_deg[inside], -89.9, 89.9))
        return floats(np.degrees(np.arctan(np.tan(elevation) + metres_a_year * years / far)))

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

    Parameters
    ----------
    horizon : HorizonProfile or Surroundings
    name : str
    site : Site
        Decides when it is in leaf where the crown does not.
    year : int
    crown : Crown, optional
    behind_deg : float, optional
        As in `removed`. [deg]

    Raises
    ------
    UsageError
        Nothing bears the name.
    """
    before = Surroundings.of(horizon)
    crown = crown or Crown()
    trees = []
    for layer in before.layers:
        for o in layer.obstructions:
            if o.name == name:
                split, inside = _sector(layer.profile, o)
                outside = np.where(inside, split.elevation_deg, _NOTHING_DEG)
                profile = replace(
                    split,
                    elevation_deg=outside,
                    measured=split.known | ~inside,
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
        f"{name} lets {crown.in_leaf:.0%} of the light through in leaf ({when}), "
        f"{crown.bare:.0%} when bare",
        _without(behind_deg),
        forget=True,
    )
    return Surroundings((*rest.layers, *trees), rest.changes)


def names_in(horizon: HorizonProfile | Surroundings) -> tuple[str, ...]:
    """The names that a what-if can use."""
    layers = Surroundings.of(horizon).layers
    found = [o.name for x in layers for o in x.obstructions] + [x.name for x in layers if x.name]
    return tuple(dict.fromkeys(found))


def _without(behind_deg: float | None) -> Edit:
    def edit(profile: HorizonProfile, inside: Bools, obstruction: Obstruction) -> Floats:
        own = profile.elevation_deg[inside]
        if behind_deg is not None:
            return np.minimum(own, behind_deg)
        width = float(wrap360(obstruction.to_azimuth_deg - obstruction.from_azimuth_deg))
        if inside.all() or width == 0:
            return np.minimum(own, 0.0)
        left = _side(profile, obstruction.from_azimuth_deg, before=True)
        right = _side(profile, obstruction.to_azimuth_deg, before=False)
        along = wrap360(profile.azimuth_deg[inside] - obstruction.from_azimuth_deg) / width
        return floats(np.minimum(own, left + (right - left) * np.clip(along, 0.0, 1.0)))

    return edit


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
            profile, inside = _sector(profile, o)
            elevation = profile.elevation_deg.copy()
            elevation[inside] = edit(profile, inside, o)
            profile = replace(profile, elevation_deg=elevation)
        if forget:
            kept = [o for o in profile.obstructions if o.name != name]
            profile = profile.with_obstructions(kept)
        layers.append(replace(layer, profile=profile))
    return Surroundings(tuple(layers), (*surroundings.changes, change))


def _sector(profile: HorizonProfile, o: Obstruction) -> tuple[HorizonProfile, Bools]:
    """The profile with vertical edges at a sector's ends, and which nodes are of the sector."""
    if o.to_azimuth_deg - o.from_azimuth_deg >= 360.0:
        return profile, np.ones(len(profile), dtype=bool)
    for azimuth in (o.from_azimuth_deg, o.to_azimuth_deg):
        profile = _with_edge(profile, float(wrap360(azimuth)))
    start, end = wrap360(o.from_azimuth_deg), wrap360(o.to_azimuth_deg)
    at = profile.azimuth_deg
    inside = np.asarray(in_sector(at, start, end), dtype=bool)
    first, last = np.flatnonzero(at == start), np.flatnonzero(at == end)
    inside[first[:-1]] = False
    inside[last[1:]] = False
    inside[first[-1]] = inside[last[0]] = True
    return profile, inside


def _side(profile: HorizonProfile, azimuth_deg: float, before: bool) -> float:
    """Elevation just before or just after an azimuth at which the profile has an edge."""
    rows = np.flatnonzero(profile.azimuth_deg == wrap360(azimuth_deg))
    row = rows[0] if before else rows[-1]
    return float(profile.elevation_deg[row]) if profile.known[row] else 0.0


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
