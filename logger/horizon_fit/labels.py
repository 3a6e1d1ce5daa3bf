"""Names on the skyline: from the operator's notes and marks to sectors that losses are told by.

A label holds from its azimuth, in the direction of the sweep, until the next. A mark made while
holding still is as good as the sight; one made in passing comes late by the operator's reaction
and is moved to the vertical edge it can only have meant, if there is one near.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firmware_protocol import PRESS_KEY
from logger.arrays import Bools, Floats, floats
from logger.geometry import angle_between, in_sector, wrap360
from logger.horizon import OBSTRUCTION_KINDS, Obstruction
from logger.horizon_fit.edges import Edge, velocity
from logger.horizon_fit.passes import Leg, Pass
from logger.horizon_fit.settings import HorizonSettings
from logger.recording.samples import KeyPress, Note


@dataclass(frozen=True)
class Label:
    """Where something on the skyline begins, in the direction of the sweep."""

    name: str  # Empty where nothing named begins
    kind: str  # One of `logger.horizon.OBSTRUCTION_KINDS`
    azimuth_deg: float  # [deg]
    error_deg: float  # 1 sigma. [deg]
    clockwise: bool  # Direction of the sweep
    distance_m: float | None = None  # [m]


def obstructions_from(
    passes: Sequence[Pass],
    legs: Sequence[Leg],
    edges: Sequence[Edge],
    table: Sequence[Obstruction],
    settings: HorizonSettings,
) -> tuple[Obstruction, ...]:
    """Named sectors, clockwise from north; what a table says goes before what notes say."""
    sectors = list(table)
    for leg, labels in labels_of(passes, legs, edges, settings):
        sectors += _sectors(labels, leg)
    return combined(sectors)


def labels_of(
    passes: Sequence[Pass],
    legs: Sequence[Leg],
    edges: Sequence[Edge],
    settings: HorizonSettings,
) -> list[tuple[Leg, list[Label]]]:
    """The labels made along each leg, in order of time."""
    found: list[tuple[Leg, list[Label]]] = []
    for recording, one in enumerate(passes):
        named = named_moments(one.keys, one.notes, settings)
        mine = [(i, leg) for i, leg in enumerate(legs) if leg.recording == recording]
        for index, leg in mine if named else []:
            times, path = leg.t_s, leg.path_deg
            if leg.held:
                # A held line has no time of its own: the sight at the press tells where.
                first = leg is mine[0][1]
                places = [(t, n, _azimuth_at(one, t), 0.0) for t, n in named if first]
            else:
                speed = np.abs(velocity(times, path, 0.5))
                places = [
                    (
                        t,
                        note,
                        float(wrap360(np.interp(t, times, path))),
                        settings.reaction_s * float(np.interp(t, times, speed)),
                    )
                    for t, note in named
                    if times[0] - 0.5 <= t <= times[-1]
                ]
            labels = [
                _at_edge(_label(note, at, late, leg.clockwise), t, leg, index, edges, settings)
                for t, note, at, late in places
            ]
            if labels:
                found.append((leg, labels))
    return found


def named_moments(
    keys: Sequence[KeyPress], notes: Sequence[Note], settings: HorizonSettings
) -> list[tuple[float, Note]]:
    """When each label was meant: a note goes to the mark pressed shortly before it.

    A mark made in passing to which no note belongs gets a number for a name.
    """
    marks = [k.t_s for k in keys if k.key == PRESS_KEY and k.down]
    named: list[tuple[float, Note]] = []
    for note in notes:
        before = [t for t in marks if 0.0 <= note.t_s - t <= settings.note_after_mark_s]
        named.append((before[-1] if before else note.t_s, note))
    return sorted(named, key=lambda pair: pair[0])


def _azimuth_at(one: Pass, t_s: float) -> float:
    used = np.flatnonzero(one.sight.used)
    near = used[np.argmin(np.abs(one.sight.t_s[used] - t_s))]
    return float(one.sight.azimuth_deg[near])


def _label(note: Note, azimuth_deg: float, late_deg: float, clockwise: bool) -> Label:
    kind = note.kind if note.kind in OBSTRUCTION_KINDS else "other"
    distance = note.more.get("distance_m")
    known = isinstance(distance, (int, float)) and distance > 0
    return Label(
        note.label,
        kind,
        azimuth_deg,
        max(0.5, late_deg),
        clockwise,
        float(distance) if known else None,  # type: ignore[arg-type]
    )


def _at_edge(
    label: Label,
    t_s: float,
    leg: Leg,
    index: int,
    edges: Sequence[Edge],
    settings: HorizonSettings,
) -> Label:
    """The label moved to the vertical edge it was made at, if there is one.

    The edge is told by the moment at which this leg climbed it: beside a thin mast both edges
    are near in azimuth, but a second or more apart in time. An edge that the leg did not climb
    is told by its azimuth.
    """
    near: list[tuple[float, Edge]] = []
    for edge in edges:
        climb = next((c for c in edge.climbs if c.leg == index), None)
        apart = abs(float(angle_between(edge.azimuth_deg, label.azimuth_deg)))
        if climb is None or leg.held:
            sigmas = apart / label.error_deg
        else:
            start, end = float(leg.t_s[climb.first]), float(leg.t_s[climb.last])
            sigmas = max(start - t_s, t_s - end, 0.0) / settings.reaction_s
        if sigmas <= settings.snap_sigmas and apart < 5.0:
            near.append((sigmas, edge))
    if not near:
        return label
    edge = min(near, key=lambda pair: pair[0])[1]
    return replace(label, azimuth_deg=edge.azimuth_deg, error_deg=edge.error_deg)


def _sectors(labels: Sequence[Label], leg: Leg) -> list[Obstruction]:
    """From each label to the next, and from the last one to the end of the leg."""
    end = float(wrap360(leg.path_deg[-1]))
    # A leg of more than a full turn ends where its first label began.
    if leg.span_deg >= 359.0:
        end = labels[0].azimuth_deg
    until = [*(label.azimuth_deg for label in labels[1:]), end]
    return [
        Obstruction(
            label.name,
            label.azimuth_deg if label.clockwise else stop,
            stop if label.clockwise else label.azimuth_deg,
            label.kind,
            label.distance_m,
        )
        for label, stop in zip(labels, until, strict=True)
        if label.name and (len(labels) == 1 or stop != label.azimuth_deg)
    ]


def combined(sectors: Sequence[Obstruction]) -> tuple[Obstruction, ...]:
    """Sectors that do not overlap: where several claim an azimuth, the first one has it."""
    if not sectors:
        return ()
    cuts = sorted(
        {float(wrap360(c)) for s in sectors for c in (s.from_azimuth_deg, s.to_azimuth_deg)}
    )
    if len(cuts) == 1:
        return (sectors[0],)
    pieces: list[tuple[float, float, Obstruction]] = []
    ends = [*cuts[1:], cuts[0]]
    middle = floats(cuts) + wrap360(floats(ends) - floats(cuts)) / 2.0
    owners: list[Obstruction | None] = [None] * len(cuts)
    for sector in reversed(sectors):
        for at in np.flatnonzero(_inside(sector, middle)):
            owners[at] = sector
    for a, b, owner in zip(cuts, ends, owners, strict=True):
        if owner is None:
            continue
        if pieces and pieces[-1][1] == a and _same(pieces[-1][2], owner):
            pieces[-1] = (pieces[-1][0], b, owner)
        else:
            pieces.append((a, b, owner))
    if len(pieces) > 1 and pieces[-1][1] == pieces[0][0] and _same(pieces[-1][2], pieces[0][2]):
        pieces[0] = (pieces[-1][0], pieces[0][1], pieces[0][2])
        pieces.pop()
    return tuple(replace(o, from_azimuth_deg=a, to_azimuth_deg=b) for a, b, o in pieces)


def _inside(sector: Obstruction, azimuth_deg: Floats) -> Bools:
    whole = wrap360(sector.from_azimuth_deg) == wrap360(sector.to_azimuth_deg)
    inside = in_sector(azimuth_deg, sector.from_azimuth_deg, sector.to_azimuth_deg)
    return np.asarray(inside | whole, dtype=bool)


def _same(one: Obstruction, other: Obstruction) -> bool:
    return (one.name, one.kind, one.distance_m) == (other.name, other.kind, other.distance_m)
