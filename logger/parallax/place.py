"""A place understood from several points: what stands where, how sure, and what does not fit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from logger.access.draws import GRID_DEG, SECTOR_MIDDLES
from logger.access.many import Skylines
from logger.arrays import Floats, Ints, floats
from logger.checks import NORMAL_95, Check
from logger.geometry import in_sector, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile, Obstruction
from logger.parallax.carry import Drawn, carried
from logger.parallax.fit import LEAST_TURN_DEG, MOST_MISFIT, OF_POINT, Thing
from logger.parallax.layout import Layout, cost_with, layout_of, settled
from logger.parallax.parts import name_of
from logger.parallax.swept import AZIMUTHS, PositionedPoint, view_of
from logger.parallax.things import BOXES, Bodies, seen
from logger.parallax.unnamed import with_unnamed

FAR_KIND = "terrain"

SIGMAS = 3.0
"""What is further off than so many standard errors does not fit."""

FREED_M, FREED_COST = 3.0, 0.5
"""Where things do not fit, each point's position is let go by this much; one that brings the cost
down to this share is wrong (common practice, no source)."""

UNLIKELY = 25.0
"""Cost of a layout above which it is looked for once more: found right it is 5 to 20."""

PLACED = 0.35
"""Error of the logarithm of a distance with which a thing counts as placed."""

LEAST_BASELINE_M = 1.0
"""Points nearer to each other tell little of distances (common practice, no source)."""

DIFFERENCE = 1.4
"""Standard error of a difference of two headings, over that of one."""

SPREAD_DRAWS = 200


@dataclass(frozen=True)
class Range:
    """A length with its 95 % interval; None where there is none. [m]"""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Placed:
    """An obstruction and where it stands."""

    name: str
    kind: str
    distance_m: Range  # From the point to its nearest face
    top_m: Range  # Above the job's origin
    from_point: str
    is_placed: bool  # Whether its distance is known to a third or so
    taken_as: str = ""  # The bodies that stand for it; empty of what is far


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands around some points."""

    points: tuple[PositionedPoint, ...]
    layout: Layout
    checks: tuple[Check, ...]
    seed: int = 0

    @cached_property
    def found(self) -> Drawn:
        """As it was found."""
        return Drawn.found(self.layout)

    @cached_property
    def obstructions(self) -> tuple[Placed, ...]:
        """What stands near, the nearest first; then what is far."""
        drawn = Drawn.of(self.layout, SPREAD_DRAWS, self.seed)
        start = len(self.points) * OF_POINT
        parts: dict[str, list[Placed]] = {}
        for thing in self.layout.things:
            part = slice(start, start + len(thing.form))
            start = part.stop
            found = _placed(self, thing, drawn.vector[:, part], part)
            parts.setdefault(name_of(thing.name), []).append(found)
        near = [_together(name, some) for name, some in parts.items()]
        near.sort(key=lambda o: o.distance_m.value or np.inf)
        return (*near, *_far(self))

    def distances_from(self, point: str) -> dict[str, float]:
        """From a point to the nearest face of what has a place, by name. [m]"""
        placed = {o.name for o in self.obstructions if o.is_placed}
        found: dict[str, float] = {}
        for at_m in (one.at_m for one in self.points if one.name == point):
            for thing in self.layout.things:
                if (name := name_of(thing.name)) in placed:
                    away = float(_distance(thing.bodies(), at_m)[0])
                    found[name] = min(away, found.get(name, away))
        return found

    def horizons(self, places_m: Floats, drawn: Drawn, without: str = "") -> Skylines:
        """Horizons at places, see `carried`."""
        return carried(self.layout, places_m, drawn, without)

    def horizon_at(self, place_m: Floats) -> HorizonProfile:
        """What is seen from a place, by the names of what makes its horizon."""
        elevation, which, _ = _skyline(self.layout, place_m)
        far = [o for o in self.points[0].horizon.obstructions if o.kind == FAR_KIND]
        kinds = {name_of(thing.name): thing.kind for thing in self.layout.things}
        kinds |= {o.name: o.kind for o in far}
        near = [name_of(thing.name) for thing in self.layout.things]
        names = np.array([*near, ""], dtype=object)[which]
        at = SECTOR_MIDDLES
        for o in far:
            names[in_sector(at, o.from_azimuth_deg, o.to_azimuth_deg) & (names == "")] = o.name
        starts = np.flatnonzero(names != np.roll(names, 1))
        edges = at[starts] - GRID_DEG / 2
        sectors = tuple(
            Obstruction(name, start, end, kinds[name])
            for name, start, end in zip(
                names[starts], edges.tolist(), np.roll(edges, -1).tolist(), strict=True
            )
            if name
        )
        leaf_seen = self.points[0].horizon.leaf_seen
        return HorizonProfile(at, elevation, obstructions=sectors, leaf_seen=leaf_seen)

    def hidden_cases(self) -> tuple[Drawn, Drawn]:
        """Nothing stands where no point could see; and something as high as what hid it."""
        return replace(self.found, behind=np.zeros(1)), replace(self.found, behind=np.ones(1))


def surroundings_of(points: Sequence[PositionedPoint], seed: int = 0) -> Surroundings:
    """Work out what stands where; of points that tell no distances the first serves alone."""
    apart = distance_check(points)
    if not apart.passed:
        points = points[:1]
    far = frozenset(o.name for p in points for o in p.horizon.obstructions if o.kind == FAR_KIND)
    named = with_unnamed(points, far)
    every = [o for p in named for o in p.horizon.obstructions]
    views = [view_of(p, far) for p in named]
    seen = {name for view in views for name in view.names}
    kinds = {o.name: o.kind for o in reversed(every) if o.name in seen - far}
    layout = layout_of(views, kinds)
    if layout.cost > UNLIKELY:
        layout = min(layout, layout_of(views, kinds, ridges=True), key=lambda one: one.cost)
    wrong = None
    if layout.misfit and len(points) > 1:
        layout, wrong = _freed(layout)
    checks = (apart, *_of_fit(layout, wrong))
    _, positions, headings, *_ = checks
    if len(points) == 2 and not (positions.passed and headings.passed):
        # Which of two points is wrong nobody can tell, nor any distance: one serves alone.
        alone = surroundings_of(points[:1], seed)
        return replace(alone, checks=(*checks, *alone.checks[-1:]))
    found = Surroundings(tuple(points), layout, checks, seed)
    unplaced = [o.name for o in found.obstructions if o.kind != FAR_KIND and not o.is_placed]
    why = "every obstruction near has a distance"
    if unplaced:
        why = (
            f"no distance of {', '.join(unplaced)}: one point alone shows it, or all stand in line "
            "with it; sweep another point aside"
        )
    check = Check("obstructions placed", not unplaced, float(len(unplaced)), 0.0, "", why)
    return replace(found, checks=(*checks, check))


def with_distances(point: PositionedPoint, others: Sequence[PositionedPoint]) -> HorizonProfile:
    """A point's horizon with the distance of each placed thing where it makes the skyline."""
    profile, (apart, *_) = point.horizon, (here := surroundings_of([point, *others])).checks
    if not apart.passed:
        return profile
    turn_deg, _, *off_m = here.layout.of_points[0]
    eye = floats(point.at_m + off_m)
    _, which, away = _skyline(here.layout, eye)
    placed = {o.name for o in here.obstructions if o.is_placed}
    known = [name_of(thing.name) in placed for thing in here.layout.things]
    distance = np.where(np.append(known, False)[which], away, np.nan)
    nodes = wrap360(profile.azimuth_deg + turn_deg)
    fitted = distance[(nodes / GRID_DEG).astype(int) % len(SECTOR_MIDDLES)]
    told = profile.distance_at(profile.azimuth_deg)
    return replace(profile, distance_m=np.where(np.isfinite(told), told, fitted))


def _skyline(layout: Layout, eye_m: Floats) -> tuple[Floats, Ints, Floats]:
    """What stands highest from a place: how high, which of the things (-1: far), how far off."""
    top = interpolate_azimuthal(SECTOR_MIDDLES, AZIMUTHS, layout.far_deg)
    which, distance = np.full(len(SECTOR_MIDDLES), -1), np.full(len(SECTOR_MIDDLES), np.nan)
    for k, thing in enumerate(layout.things):
        elevation, cell, away = (
            x[0] for x in seen(thing.bodies(), eye_m[None], SECTOR_MIDDLES, GRID_DEG)
        )
        before = elevation > top[cell]
        which[cell[before]], distance[cell[before]] = k, away[before]
        top[cell] = np.maximum(top[cell], elevation)
    return top, which, distance


def _freed(layout: Layout) -> tuple[Layout, tuple[PositionedPoint, float] | None]:
    """The layout with the one position let go that does most; and which, by how much.

    Where its things fit as well with the position held again, the fit was only stuck.
    """
    points = [view.point for view in layout.views]
    let_go: list[list[PositionedPoint]] = []
    for i, point in enumerate(points):
        one = replace(point, error_m=float(np.hypot(point.error_m, FREED_M)))
        let_go.append([*points[:i], one, *points[i + 1 :]])
    k = int(np.argmin([cost_with(layout, some) for some in let_go]))
    free = settled(layout, let_go[k])
    if free.cost >= FREED_COST * layout.cost:
        return layout, None
    held = settled(free, points)
    if free.cost >= FREED_COST * held.cost:
        return min(layout, held, key=lambda one: one.cost), None
    views = [replace(view, point=point) for view, point in zip(free.views, points, strict=True)]
    off_m = float(np.linalg.norm(free.of_points[k, 2:]))
    return replace(free, views=tuple(views)), (points[k], off_m)


def distance_check(points: Sequence[PositionedPoint]) -> Check:
    """Whether the points lie far enough apart to tell distances."""
    apart, needed = 0.0, LEAST_BASELINE_M
    for i, one in enumerate(points):
        for other in points[:i]:
            d = float(np.linalg.norm(one.at_m - other.at_m))
            if d > apart:
                apart = d
                needed = max(LEAST_BASELINE_M, SIGMAS * float(np.hypot(one.error_m, other.error_m)))
    if len(points) < 2:
        why = "one point with a position tells no distances: sweep another, some metres aside"
    elif apart < needed:
        why = (
            f"the points are {apart:.2f} m apart, too near for their errors: sweep one further "
            "off, or measure their positions by tape"
        )
    else:
        why = f"the points are up to {apart:.1f} m apart"
    passed = len(points) > 1 and apart >= needed
    return Check("points far enough apart", passed, round(apart, 2), round(needed, 2), "m", why)


def _of_fit(layout: Layout, wrong: tuple[PositionedPoint, float] | None) -> list[Check]:
    found = []
    why, off_m = "positions agree with what was seen", 0.0
    judged = max((view.point for view in layout.views), key=lambda point: point.error_m)
    if wrong:
        judged, off_m = wrong
        why = (
            f"the position of {judged.name} contradicts what was seen by {off_m:.1f} m, or that of "
            "another point does: measure both again and edit set-position"
        )
    off, limit = round(off_m, 2), round(SIGMAS * judged.error_m, 2)
    found.append(Check("positions agree", wrong is None, off, limit, "m", why))
    names = [view.point.name for view in layout.views]
    error = float(np.mean([view.point.horizon.heading_error_deg for view in layout.views]))
    found.append(heading_check(names, layout.of_points[:, 0], error))
    for name, rms in layout.misfit.items():
        why = (
            f"what was swept as {name} is not one thing: were two things given one name? "
            "name them apart with edit name-sector"
        )
        found.append(Check("names agree", False, round(rms, 2), MOST_MISFIT, "", why))
    return found


def heading_check(names: Sequence[str], turn_deg: Floats, error_deg: float) -> Check:
    """Whether any point is turned against the rest."""
    rest = [np.median(np.delete(turn_deg, i)) if len(turn_deg) > 1 else turn_deg[0]
            for i in range(len(turn_deg))]  # fmt: skip
    turn = turn_deg - floats(rest)
    most = int(np.argmax(np.abs(turn)))
    limit = SIGMAS * DIFFERENCE * max(error_deg, LEAST_TURN_DEG)
    passed = abs(float(turn[most])) <= limit
    why = "the points' headings agree"
    if not passed:
        why = (
            f"{names[most]} is turned by {turn[most]:+.1f}° against the rest: iron near it? "
            "calibrate the compass there, or sight a closing target at each point"
        )
    size = round(abs(float(turn[most])), 2)
    return Check("headings agree", passed, size, round(limit, 2), "deg", why)


def _distance(bodies: Bodies, from_m: Floats) -> Floats:
    """To the nearest face, level. Shape (n,)"""
    if bodies.shape not in BOXES:
        away = np.hypot(bodies.east_m - from_m[0], bodies.north_m - from_m[1])
        return floats(np.maximum(away - bodies.sizes[:, 0], 0.0))
    a = np.radians(bodies.sizes[:, 2])
    east, north = from_m[0] - bodies.east_m, from_m[1] - bodies.north_m
    x = np.abs(east * np.cos(a) - north * np.sin(a)) - bodies.sizes[:, 0] / 2
    y = np.abs(east * np.sin(a) + north * np.cos(a)) - bodies.sizes[:, 1] / 2
    return floats(np.hypot(np.maximum(x, 0.0), np.maximum(y, 0.0)))


def _placed(here: Surroundings, thing: Thing, forms: Floats, part: slice) -> Placed:
    shown = [sum(n == thing.name for n in view.names) for view in here.layout.views]
    seen = [i for i, cells in enumerate(shown) if cells] or list(range(len(shown)))
    body = thing.bodies()
    from_m = min(seen, key=lambda i: float(_distance(body, here.points[i].at_m)[0]))
    at = here.points[from_m].at_m
    drawn = thing.bodies(forms)
    error = float(np.sqrt(here.layout.covariance[part.start + 1, part.start + 1]))

    def interval(value: float, of_draws: Floats) -> Range:
        low, high = np.percentile(of_draws, (2.5, 97.5))
        return Range(value, float(min(low, value)), float(max(high, value)))

    return Placed(
        name_of(thing.name),
        thing.kind,
        interval(float(_distance(body, at)[0]), _distance(drawn, at)),
        interval(float(body.top_m[0]), drawn.top_m),
        here.points[from_m].name,
        error < PLACED,
        thing.shape,
    )


MANY = {"box": "boxes", "gable": "gables", "crown": "crowns", "pole": "poles"}


def _together(name: str, parts: list[Placed]) -> Placed:
    """What bears one name: the distance of its nearest part, the top of its highest."""
    nearest = min(parts, key=lambda o: o.distance_m.value or 0.0)
    highest = max(parts, key=lambda o: o.top_m.value or 0.0)
    shapes = Counter(o.taken_as for o in parts)
    words = [f"{n} {MANY[shape]}" if n > 1 else shape for shape, n in shapes.items()]
    placed = all(o.is_placed for o in parts)
    return replace(
        nearest, name=name, top_m=highest.top_m, is_placed=placed, taken_as=", ".join(words)
    )


def _far(here: Surroundings) -> list[Placed]:
    """What is farther than the points could tell, by the turn that they would have noticed."""
    eyes = np.stack([point.at_m for point in here.points])
    span = float(np.max(np.linalg.norm(eyes[:, None] - eyes[None], axis=2)))
    found: dict[str, Placed] = {}
    for point, view in zip(here.points, here.layout.views, strict=True):
        notice = np.radians(NORMAL_95 * max(point.horizon.heading_error_deg, 0.2) * DIFFERENCE)
        for o in view.point.horizon.obstructions:
            if o.kind == FAR_KIND and o.name not in found:
                low = float(round(span / notice)) if span > 0 else None
                nothing = Range(None, None, None)
                found[o.name] = Placed(
                    o.name, o.kind, Range(None, low, None), nothing, point.name, False
                )
    return list(found.values())
