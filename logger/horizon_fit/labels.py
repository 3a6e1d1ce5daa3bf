"""Names on the skyline: from the operator's notes and presses to sectors that losses are told by.

A name holds from its azimuth, in the direction of the sweep, until the next one or an empty one;
a remark ends none. A press made while holding still is as good as the sight; one made in passing
comes late by the operator's reaction and is moved to the vertical edge it can only have meant, if
there is one near. The limits of this file are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.geometry import angle_between, in_sector, wrap360
from logger.horizon import OBSTRUCTION_KINDS, Obstruction
from logger.horizon_fit.edges import Edge
from logger.horizon_fit.passes import Pass, SightedSweep, velocity
from logger.recording.samples import KeyPress, Note, presses

REACTION_S = 0.3  # A press or note made in passing is off by about this time, 1 sigma
NOTE_AFTER_PRESS_S = 5.0  # A note belongs to the press made at most this long before it
BEFORE_PASS_S = 0.5  # What is named this shortly before a pass begins belongs to it
LABEL_ERROR_DEG = 0.5  # Of a name given while holding still, 1 sigma
# A label goes to a vertical edge nearer than this many standard errors, and than this
SNAP_SIGMAS, SNAP_DEG = 2.0, 5.0


def obstructions_from(
    sweeps: Sequence[SightedSweep],
    passes: Sequence[Pass],
    edges: Sequence[Edge],
    table: Sequence[Obstruction],
) -> tuple[Obstruction, ...]:
    """Named sectors, clockwise from north; what a table says goes before what notes say."""
    sectors = list(table)
    named = [named_moments(one.keys, one.notes) for one in sweeps]
    joined: set[int] = set()
    for index, one in enumerate(passes):
        if one.held and one.sweep in joined:
            # The first line through a sweep's corners has told all its names.
            continue
        joined.add(one.sweep)
        sight = sweeps[one.sweep]
        speed = floats(np.abs(velocity(one.t_s, one.path_deg, 0.5)))
        labels = [_label(t, note, sight, one, speed, index, edges) for t, note in named[one.sweep]]
        sectors += _sectors([label for label in labels if label is not None], one)
    return combined(sectors)


def named_moments(keys: Sequence[KeyPress], notes: Sequence[Note]) -> list[tuple[float, Note]]:
    """When each name was meant: a note goes to the press made shortly before it."""
    pressed = presses(keys)
    named: list[tuple[float, Note]] = []
    for note in notes:
        if note.label is not None:
            before = [t for t in pressed if 0.0 <= note.t_s - t <= NOTE_AFTER_PRESS_S]
            named.append((before[-1] if before else note.t_s, note))
    return sorted(named, key=lambda pair: pair[0])


def _label(
    t_s: float,
    note: Note,
    sweep: SightedSweep,
    one: Pass,
    speed_deg_s: Floats,
    index: int,
    edges: Sequence[Edge],
) -> Obstruction | None:
    """Where a note begins a name on one pass, both ends there; None of a note on another pass."""
    if one.held:
        # A line through corners has no time of its own: the sight at the press tells where.
        used = np.flatnonzero(sweep.sight.used)
        near = used[np.argmin(np.abs(sweep.sight.t_s[used] - t_s))]
        azimuth, late = float(sweep.sight.azimuth_deg[near]), 0.0
    elif one.t_s[0] - BEFORE_PASS_S <= t_s <= one.t_s[-1]:
        azimuth = float(wrap360(np.interp(t_s, one.t_s, one.path_deg)))
        late = REACTION_S * float(np.interp(t_s, one.t_s, speed_deg_s))
    else:
        return None
    azimuth = _at_edge(azimuth, max(LABEL_ERROR_DEG, late), t_s, one, index, edges)
    kind, distance = note.kind, note.more.get("distance_m")
    known = float(distance) if isinstance(distance, (int, float)) and distance > 0 else None
    kind = kind if kind in OBSTRUCTION_KINDS else "other"
    return Obstruction(note.label or "", azimuth, azimuth, kind, known)


def _at_edge(
    azimuth_deg: float, error_deg: float, t_s: float, one: Pass, index: int, edges: Sequence[Edge]
) -> float:
    """The azimuth of the vertical edge that a label was made at, if there is one, else its own.

    The edge is told by the moment at which this pass climbed it: beside a thin mast both edges
    are near in azimuth, but a second or more apart in time. An edge that the pass did not climb
    is told by its azimuth.
    """
    near: list[tuple[float, float]] = []
    for edge in edges:
        climb = edge.climb_of(index)
        apart = abs(float(angle_between(edge.azimuth_deg, azimuth_deg)))
        if climb is None or one.held:
            sigmas = apart / error_deg
        else:
            start, end = float(one.t_s[climb.first]), float(one.t_s[climb.last])
            sigmas = max(start - t_s, t_s - end, 0.0) / REACTION_S
        if sigmas <= SNAP_SIGMAS and apart < SNAP_DEG:
            near.append((sigmas, edge.azimuth_deg))
    return min(near, key=lambda pair: pair[0])[1] if near else azimuth_deg


def _sectors(labels: Sequence[Obstruction], one: Pass) -> list[Obstruction]:
    """From each label to the next, and from the last one to the end of the pass."""
    if not labels:
        return []
    # A pass of more than a full turn ends where its first label began.
    whole = float(np.ptp(one.path_deg)) >= 359.0
    starts = [label.from_azimuth_deg for label in labels]
    end = starts[0] if whole else float(wrap360(one.path_deg[-1]))
    found = []
    for label, start, stop in zip(labels, starts, [*starts[1:], end], strict=True):
        if label.name and (len(labels) == 1 or stop != start):
            a, b = (start, stop) if one.clockwise else (stop, start)
            found.append(replace(label, from_azimuth_deg=a, to_azimuth_deg=b))
    return found


def combined(sectors: Sequence[Obstruction]) -> tuple[Obstruction, ...]:
    """Sectors that do not overlap: where several claim an azimuth, the first one has it."""
    cuts = sorted({float(wrap360(c)) for s in sectors
                   for c in (s.from_azimuth_deg, s.to_azimuth_deg)})  # fmt: skip
    if len(cuts) < 2:
        return tuple(sectors[:1])
    ends = [*cuts[1:], cuts[0]]
    middle = floats(cuts) + wrap360(floats(ends) - floats(cuts)) / 2.0
    owners: list[Obstruction | None] = [None] * len(cuts)
    for sector in reversed(sectors):
        for at in np.flatnonzero(_inside(sector, middle)):
            owners[at] = sector
    pieces: list[Obstruction] = []
    for a, b, owner in zip(cuts, ends, owners, strict=True):
        if owner is not None:
            piece = replace(owner, from_azimuth_deg=a, to_azimuth_deg=b)
            if pieces and _goes_on(pieces[-1], piece):
                piece = replace(pieces.pop(), to_azimuth_deg=b)
            pieces.append(piece)
    if len(pieces) > 1 and _goes_on(pieces[-1], pieces[0]):
        pieces[0] = replace(pieces.pop(), to_azimuth_deg=pieces[0].to_azimuth_deg)
    return tuple(pieces)


def _inside(sector: Obstruction, azimuth_deg: Floats) -> Bools:
    whole = wrap360(sector.from_azimuth_deg) == wrap360(sector.to_azimuth_deg)
    inside = in_sector(azimuth_deg, sector.from_azimuth_deg, sector.to_azimuth_deg)
    return np.asarray(inside | whole, dtype=bool)


def _goes_on(one: Obstruction, other: Obstruction) -> bool:
    same = (one.name, one.kind, one.distance_m) == (other.name, other.kind, other.distance_m)
    return same and one.to_azimuth_deg == other.from_azimuth_deg
