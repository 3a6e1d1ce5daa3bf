"""How much of the sphere a tumble has covered, and which way to turn next.

Two spheres count: which side of the board faced down, and which way the field ran through it.
The first is known from gravity at once; the second needs the hard iron's centre, for which a
running fit of a sphere stands in. Everything is updated without looking back, so that a live
display can call it with every batch of samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.recording.samples import Samples

# The board's sides and the body axis that points out of each
SIDES: tuple[tuple[str, tuple[float, float, float]], ...] = (
    ("front end (the sight)", (1.0, 0.0, 0.0)),
    ("back end", (-1.0, 0.0, 0.0)),
    ("right side", (0.0, 1.0, 0.0)),
    ("left side", (0.0, -1.0, 0.0)),
    ("underside", (0.0, 0.0, 1.0)),
    ("top", (0.0, 0.0, -1.0)),
)

# A tumble may end when no direction is further than this from one that was covered. Turning the
# board once about each of its three axes leaves 35 degrees.
GOOD_GAP_DEG = 40.0
# And with this gap, once it has taken `LONG_S`: more of the same turns hardly narrow it
ENOUGH_GAP_DEG = 50.0
POOR_GAP_DEG = 60.0  # A fit with a wider gap is poor
LEAST_GAP_DEG = 75.0  # Beyond this the fit rests on one side of the sphere and is refused
ENOUGH_S = 20.0  # Not before this time
LONG_S = 35.0  # A tumble that has taken so long is asked for `ENOUGH_GAP_DEG` only
NEAR_DEG = 12.0


def sphere_points(n: int = 400) -> Floats:
    """Directions spread evenly over the sphere (a Fibonacci lattice). Shape (n, 3)."""
    i = np.arange(n) + 0.5
    z = 1 - 2 * i / n
    angle = np.pi * (1 + np.sqrt(5)) * i
    r = np.sqrt(1 - z**2)
    return floats(np.column_stack([r * np.cos(angle), r * np.sin(angle), z]))


_LATTICE = sphere_points()


def seen_from(directions: Floats) -> Bools:
    """Which lattice directions lie within `NEAR_DEG` of one of the given unit vectors."""
    near = np.cos(np.radians(NEAR_DEG))
    return np.asarray((directions @ _LATTICE.T > near).any(axis=0))


def widest_gap(seen: Bools) -> tuple[float, Floats]:
    """Radius of the widest cap without a seen direction, and its centre. [deg]."""
    if not seen.any():
        return 180.0, np.array([0.0, 0.0, 1.0])
    nearest = (_LATTICE @ _LATTICE[seen].T).max(axis=1)
    worst = int(np.argmin(nearest))
    return float(np.degrees(np.arccos(np.clip(nearest[worst], -1, 1)))), _LATTICE[worst]


def side_of(direction: Floats) -> str:
    """Name of the board's side that a body direction points out of most nearly."""
    return max(SIDES, key=lambda side: float(np.dot(side[1], direction)))[0]


@dataclass(frozen=True, eq=False)
class TumbleCoverage:
    """What a tumble has covered so far. Start with `TumbleCoverage()`, then `.plus(samples)`."""

    # Lattice directions of "down" in the board that were seen
    sides: Bools = field(default_factory=lambda: np.zeros(len(_LATTICE), dtype=bool))
    # A thinned set of raw fields. [uT] Shape (K, 3).
    field_rows: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    seconds_s: float = 0.0  # Recorded so far. [s]

    def plus(self, samples: Samples) -> TumbleCoverage:
        """The coverage with further samples."""
        rows = samples.rows(samples.has_field)
        if not len(rows):
            return self
        force = rows.force_g
        down = -force / np.maximum(np.linalg.norm(force, axis=1, keepdims=True), 1e-9)
        step = max(1, len(rows) // 20)
        field_rows = np.concatenate([self.field_rows, rows.field_ut[::step]])
        if len(field_rows) > 1500:
            field_rows = field_rows[::2]
        return replace(
            self,
            sides=self.sides | seen_from(down),
            field_rows=field_rows,
            seconds_s=max(self.seconds_s, float(rows.t_s[-1])),
        )

    @property
    def side_gap_deg(self) -> float:
        """Widest gap among the sides that faced down. [deg]."""
        return widest_gap(self.sides)[0]

    @property
    def field_gap_deg(self) -> float:
        """Widest gap among the field's directions; 180 while their centre is not known. [deg]."""
        rows = self.field_rows
        if len(rows) < 10 or np.linalg.matrix_rank(rows - rows.mean(axis=0), tol=2.0) < 3:
            return 180.0
        # A sphere's centre c: |m|^2 = 2 c.m + const.
        design = np.column_stack([2 * rows, np.ones(len(rows))])
        centre = np.linalg.lstsq(design, (rows**2).sum(axis=1), rcond=None)[0][:3]
        off = rows - centre
        seen = seen_from(off / np.maximum(np.linalg.norm(off, axis=1), 1e-9)[:, None])
        return widest_gap(seen)[0]

    @property
    def wanted_gap_deg(self) -> float:
        """The widest gap with which the tumble may end now. [deg]."""
        return GOOD_GAP_DEG if self.seconds_s < LONG_S else ENOUGH_GAP_DEG

    @property
    def share(self) -> float:
        """From 0 to 1: how far the tumble has come."""
        gap = max(self.side_gap_deg, self.field_gap_deg)
        by_gap = (180.0 - gap) / (180.0 - self.wanted_gap_deg)
        return min(by_gap, self.seconds_s / ENOUGH_S, 1.0)

    @property
    def enough(self) -> bool:
        """Whether the tumble may end."""
        gap = max(self.side_gap_deg, self.field_gap_deg)
        return gap <= self.wanted_gap_deg and self.seconds_s >= ENOUGH_S

    def advice(self) -> str:
        """Which way to turn next, in one sentence for the surveyor."""
        gap, centre = widest_gap(self.sides)
        if gap > self.wanted_gap_deg:
            return f"turn the board so that its {side_of(centre)} faces the ground"
        if self.field_gap_deg > self.wanted_gap_deg:
            return "turn yourself by a quarter and tumble the board again over all its sides"
        if self.seconds_s < ENOUGH_S:
            return f"go on turning, {ENOUGH_S - self.seconds_s:.0f} s more"
        return "enough: put the board down"
