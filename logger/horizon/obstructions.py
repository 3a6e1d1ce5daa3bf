"""Names on the skyline: from the operator's notes and marks to sectors that losses are told by.

A label holds from its azimuth, in the direction of the sweep, until the next. A mark made while
holding still is as good as the sight; one made in passing comes late by the operator's reaction
and is moved to the vertical edge it can only have meant, if there is one near.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.angles import angle_between, in_sector, wrap360
from logger.horizon.edges import Edge, velocity
from logger.horizon.passes import Leg, Pass
from logger.horizon.settings import HorizonSettings
from logger.horizon.vertices import MARK_KEY
from logger.profile import OBSTRUCTION_KINDS, Obstruction
from logger.samples import KeyPress, Note


@dataclass(frozen=True)
class Label:
    """Where something on the skyline begins, in the direction of the sweep.

    Parameters
    ----------
    name : str
        Empty where nothing named begins.
    kind : str
        One of `logger.profile.OBSTRUCTION_KINDS`.
    azimuth_deg : float
        [deg]
    error_deg : float
        1 sigma. [deg]
    clockwise : bool
        Direction of the sweep.
    distance_m : float or None
        [m]
    """

    name: str
    kind: str
    azimuth_deg: float
    error_deg: float
    clockwise: bool
    distance_m: float | None = None


def obstructions_from(
    passes: Sequence[Pass],
    legs: Sequence[Leg],
    edges: Sequence[Edge],
    table: Sequence[Obstruction],
    settings: HorizonSettings,
) -> tuple[Obstruction, ...]:
    """Named sectors, clockwise from north; what a table says goes before what notes say.

    Parameters
    ----------
    passes : sequence of Pass
    legs : sequence of Leg
    edges : sequence of Edge
    table : sequence of Obstruction
        Typed in for this point.
    settings : HorizonSettings
    """
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
    """The labels made along each leg, in order of time.

    Parameters
    ----------
    passes : sequence of Pass
    legs : sequence of Leg
    edges : sequence of Edge
    settings : HorizonSettings
    """
    found: list[tuple[Leg, list[Label]]] = []
    for index, one in enumerate(passes):
        named = named_moments(one.keys, one.notes, settings)
        for leg in (leg for leg in legs if leg.recording == index and len(leg) > 1):
            times, path = leg.t_s, leg.path_deg
            if leg.held:
                # A held line has no time of its own: the sight at the press tells where.
                continue
            speed = np.abs(velocity(times, path, 0.5))
            labels = []
            for t_s, note in named:
                if not times[0] - 0.5 <= t_s <= times[-1]:
                    continue
                at = float(np.interp(t_s, times, path))
                late = settings.reaction_s * float(np.interp(t_s, times, speed))
                label = _label(note, float(wrap360(at)), late, leg.clockwise)
                labels.append(_at_edge(label, edges, settings))
            if labels:
                found.append((leg, labels))
        held = [leg for leg in legs if leg.recording == index and leg.held]
        if held and named:
            labels = [
                _label(note, _azimuth_at(one, t_s), 0.0, held[0].clockwise) for t_s, note in named
            ]
            found.append((held[0], [_at_edge(label, edges, settings) for label in labels]))
    return found


def named_moments(
    keys: Sequence[KeyPress], notes: Sequence[Note], settings: HorizonSettings
) -> list[tuple[float, Note]]:
    """When each label was meant: a note goes to the mark pressed shortly before it.

    A mark made in passing to which no note belongs gets a number for a name.

    Parameters
    ----------
    keys : sequence of KeyPress
    notes : sequence of Note
    settings : HorizonSettings
    """
    marks = [k.t_s for k in keys if k.key == MARK_KEY and k.down]
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


def _at_edge(label: Label, edges: Sequence[Edge], settings: HorizonSettings) -> Label:
    """The label moved to the nearest vertical edge within its uncertainty, if there is one."""
    reach = settings.snap_sigmas * label.error_deg
    near = [
        (abs(float(angle_between(e.azimuth_deg, label.azimuth_deg))), e.azimuth_deg, e.error_deg)
        for e in edges
    ]
    near = [found for found in near if found[0] <= reach]
    if not near:
        return label
    _, azimuth, error = min(near)
    return replace(label, azimuth_deg=azimuth, error_deg=error)


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
        if label.name
    ]


def combined(sectors: Sequence[Obstruction]) -> tuple[Obstruction, ...]:
    """Sectors that do not overlap: where several claim an azimuth, the first one has it.

    Parameters
    ----------
    sectors : sequence of Obstruction
    """
    if not sectors:
        return ()
    cuts = sorted(
        {float(wrap360(c)) for s in sectors for c in (s.from_azimuth_deg, s.to_azimuth_deg)}
    )
    if len(cuts) == 1:
        return (sectors[0],)
    pieces: list[tuple[float, float, Obstruction]] = []
    for a, b in zip(cuts, [*cuts[1:], cuts[0]], strict=True):
        middle = a + float(wrap360(b - a)) / 2.0
        owner = next((s for s in sectors if _inside(s, middle)), None)
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


def _inside(sector: Obstruction, azimuth_deg: float) -> bool:
    whole = sector.from_azimuth_deg % 360.0 == sector.to_azimuth_deg % 360.0
    return whole or bool(in_sector(azimuth_deg, sector.from_azimuth_deg, sector.to_azimuth_deg))


def _same(one: Obstruction, other: Obstruction) -> bool:
    return (one.name, one.kind, one.distance_m) == (other.name, other.kind, other.distance_m)
