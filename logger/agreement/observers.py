"""Several sweeps of one point, each against what they say together or against a truth.

A sweep's horizon differs from the consensus by a turn (heading), a lift (level and tracing), and
what shape is left. Turn and lift are fitted by least squares over the whole horizon; their errors
count what is left as alike over the correlation length of a horizon's errors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logger.agreement.iso5725 import Precision, precision
from logger.arrays import Bools, Floats, floats
from logger.checks import NORMAL_95
from logger.geometry import interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile
from logger.settings import Settings

STEP_DEG = 0.5
CELLS = round(360 / STEP_DEG)
MIDDLE_DEG: Floats = floats((np.arange(CELLS) + 0.5) * STEP_DEG)

SECTOR_DEG = 30.0  # Sectors that the horizon's spread is told for. [deg]
# As far as a turn is looked for: a compass further off is no compass. [deg]
FARTHEST_TURN_DEG = 25.0
# A turn with a greater standard error is not known: the horizon is too level to tell. [deg]
UNKNOWN_TURN_DEG = 2.0
LEAST_SHARE = 0.5  # Of a sector, or of the horizon of two sweeps in common, for a figure of it
ENOUGH_OBSERVERS = 5
"""With fewer, the assumed tracing bias stands in for each that is missing (common practice, no
source)."""

# Of azimuth that two horizons have in common, to be held against each other. [deg]
LEAST_COMMON_DEG = 10.0
_ROUNDS = 4


@dataclass(frozen=True)
class Estimate:
    """A figure with its standard error; NaN where not known."""

    value: float
    error: float

    @property
    def interval(self) -> tuple[float, float]:
        """It lies in here with 95 %."""
        return self.value - NORMAL_95 * self.error, self.value + NORMAL_95 * self.error

    def as_dict(self) -> dict[str, float]:
        """Value, standard error and interval."""
        low, high = self.interval
        return {"value": self.value, "standard_error": self.error, "low": low, "high": high}


@dataclass(frozen=True, eq=False)
class Traced:
    """One sweep of the point, taken alone."""

    recording: str  # File name
    observer: str
    profile: HorizonProfile
    access: Floats  # Months and year of the first plane, 0 to 1; NaN where not known. Shape (13,)
    passes: int = 0
    failed: tuple[str, ...] = ()  # Checks of the sweep alone
    level_error_deg: float = 0.0  # Of the level calibration, 1 sigma. [deg]
    heading_error_deg: float = 0.0  # Of declination and compass, 1 sigma. [deg]

    @property
    def elevation_deg(self) -> Floats:
        """At the middle of each cell; NaN where not measured. Shape (CELLS,). [deg]"""
        return elevations(self.profile)


@dataclass(frozen=True, eq=False)
class SweepOf:
    """How one sweep differs from the consensus, or from the reference where there is one."""

    traced: Traced
    turn_deg: Estimate  # Clockwise positive; the error is the fit's alone
    lift_deg: Estimate  # Upwards positive; the error is the fit's alone
    shape_deg: Floats  # What is left, cell by cell; NaN where not measured. Shape (CELLS,)

    @property
    def known(self) -> bool:
        """Whether it could be held against anything."""
        return math.isfinite(self.lift_deg.value)

    @property
    def shape_rms_deg(self) -> float:
        """Root of the mean square of what is left, steep stretches weighing less."""
        known = np.isfinite(self.shape_deg)
        if not known.any():
            return math.nan
        weight = _weight(self.traced.elevation_deg)[known]
        return math.sqrt(float(weight @ self.shape_deg[known] ** 2 / weight.sum()))


@dataclass(frozen=True)
class TracingBias:
    """How far observers trace above or below the true edge, as found."""

    found_deg: float  # Root of the mean square of the observers' bias, their errors taken out
    observers: int
    freedom: float  # Observers that count, less one where they are held against each other
    against_truth: bool  # Else against each other: what all have in common does not show
    # With the assumed one for each observer that lacks, and wide enough for the few that there
    # are: what a 95 % interval of the normal distribution may be made of. [deg]
    to_use_deg: float


@dataclass(frozen=True, eq=False)
class Observers:
    """What the sweeps of a point say of each other."""

    names: tuple[str, ...]
    sweeps: tuple[SweepOf, ...]
    # Median over observers, or the reference; NaN where not known. Shape (CELLS,)
    held_deg: Floats
    reference: bool  # Whether turn and lift are against a truth
    bias_deg: tuple[Estimate, ...]  # Lift of each observer, with all errors
    heading_deg: tuple[Estimate, ...]  # Turn of each observer, with all errors
    common_bias_deg: Estimate  # Mean over the observers; only a reference shows it
    turn: Precision
    lift: Precision
    access: Precision  # Of the year
    months: tuple[Precision, ...]  # Access, January to December
    sectors: tuple[Precision, ...]  # Mean elevation, from north by `SECTOR_DEG`
    tracing: TracingBias | None  # None with one observer and no reference

    def of(self, observer: str) -> list[SweepOf]:
        """The sweeps of one observer."""
        return [one for one in self.sweeps if one.traced.observer == observer]


def observers_of(
    traced: Sequence[Traced],
    reference: HorizonProfile | None = None,
    assumed_deg: float = Settings().tracing_bias_deg,
) -> Observers:
    """Hold sweeps of one point against each other, or against a truth.

    The tracing bias is an assumed one where nothing is known of it.
    """
    names = tuple(dict.fromkeys(one.observer for one in traced))
    rows = np.array([one.elevation_deg for one in traced])
    who = np.array([names.index(one.observer) for one in traced])
    correlation = [one.profile.correlation_deg for one in traced]
    turns = lifts = np.zeros(len(traced))
    held = _consensus(rows, who, turns, lifts) if reference is None else elevations(reference)
    fits = [fitted(row, held, length) for row, length in zip(rows, correlation, strict=True)]
    for _ in range(_ROUNDS if reference is None else 0):
        turns = _centred(floats([turn.value for turn, _, _ in fits]), who)
        lifts = _centred(floats([lift.value for _, lift, _ in fits]), who)
        held = _consensus(rows, who, turns, lifts)
        fits = [fitted(row, held, length) for row, length in zip(rows, correlation, strict=True)]
    sweeps = tuple(SweepOf(one, *fit) for one, fit in zip(traced, fits, strict=True))
    off = rows - held
    wide = round(SECTOR_DEG / STEP_DEG)
    of_sector = [
        _mean_where_enough(off[:, k : k + wide]) + _mean(held[k : k + wide])
        for k in range(0, CELLS, wide)
    ]
    turn = precision(_by_observer([s.turn_deg.value for s in sweeps], who))
    lift = precision(_by_observer([s.lift_deg.value for s in sweeps], who))
    month = [precision(_by_observer([one.access[k] for one in traced], who)) for k in range(13)]
    bias = tuple(_of_observer(sweeps, who == k, "lift_deg", lift) for k in range(len(names)))
    return Observers(
        names,
        sweeps,
        held,
        reference is not None,
        bias,
        tuple(_of_observer(sweeps, who == k, "turn_deg", turn) for k in range(len(names))),
        _common(bias),
        turn,
        lift,
        month[12],
        tuple(month[:12]),
        tuple(precision(_by_observer(values, who)) for values in of_sector),
        _tracing(sweeps, who, reference is not None, assumed_deg),
    )


def elevations(profile: HorizonProfile) -> Floats:
    """Of a horizon at the middle of each cell; NaN where not measured. Shape (CELLS,). [deg]"""
    there = np.asarray(profile.measured_at(MIDDLE_DEG), dtype=bool)
    return floats(np.where(there, profile.elevation_at(MIDDLE_DEG), np.nan))


def fitted(row: Floats, held: Floats, correlation_deg: float) -> tuple[Estimate, Estimate, Floats]:
    """Turn and lift of a horizon against another, and what is left cell by cell.

    A turn that cannot be known is taken as none, and its value is NaN.
    """
    from scipy.optimize import minimize_scalar

    nothing = Estimate(math.nan, math.nan)
    most = np.isfinite(row - held).sum()
    if most < LEAST_COMMON_DEG / STEP_DEG:
        return nothing, nothing, np.full(CELLS, np.nan)

    def cost(turn: float) -> float:
        off, weight, _ = _apart(row, held, turn)
        if len(off) < LEAST_SHARE * most:
            return math.inf
        return float(weight @ (off - weight @ off / weight.sum()) ** 2 / weight.sum())

    tried = np.arange(-FARTHEST_TURN_DEG, FARTHEST_TURN_DEG + 0.1, STEP_DEG / 2)
    best = float(tried[int(np.argmin([cost(t) for t in tried]))])
    best = float(minimize_scalar(cost, bounds=(best - 0.5, best + 0.5), method="bounded").x)
    turn, lift = _estimates(row, held, best, correlation_deg)
    if not (turn.error <= UNKNOWN_TURN_DEG and abs(best) < FARTHEST_TURN_DEG):
        best, turn, lift = 0.0, nothing, _estimates(row, held, 0.0, correlation_deg)[1]
    return turn, lift, floats(row - _read(held, MIDDLE_DEG - best) - lift.value)


def _estimates(
    row: Floats, held: Floats, turn: float, correlation_deg: float
) -> tuple[Estimate, Estimate]:
    """Least squares about a turn: neighbours within a length L sqrt(2 pi) count as one."""
    off, weight, slope = _apart(row, held, turn)
    lift = float(weight @ off / weight.sum())
    alike = max(correlation_deg * math.sqrt(2 * math.pi) / STEP_DEG, 1.0)
    freedom = max(len(off) / alike - 2.0, 1.0)
    variance = float(weight @ (off - lift) ** 2) / alike / freedom
    by_turn, both = weight @ slope**2, -(weight @ slope)
    known = by_turn * weight.sum() - both**2  # the determinant of the normal equations
    scale = variance * alike
    if not known > 1e-9 * weight.sum() ** 2:
        return Estimate(turn, math.inf), Estimate(lift, math.sqrt(scale / weight.sum()))
    return (
        Estimate(turn, math.sqrt(scale * weight.sum() / known)),
        Estimate(lift, math.sqrt(scale * by_turn / known)),
    )


def _apart(row: Floats, held: Floats, turn: float) -> tuple[Floats, Floats, Floats]:
    """Difference, weight and the held one's slope in each cell that both know."""
    against = _read(held, MIDDLE_DEG - turn)
    off = row - against
    known = np.isfinite(off)
    weight = np.minimum(_weight(row), _weight(against))
    return floats(off[known]), floats(weight[known]), slope_of(against)[known]


def _weight(row: Floats) -> Floats:
    """A hand shakes as much across a horizon as along it.

    Where it climbs by s degrees a degree, a difference has 1 + s^2 times the variance that it has
    on a level stretch.
    """
    return floats(1.0 / (1.0 + slope_of(row) ** 2))


def slope_of(row: Floats) -> Floats:
    """Degrees a degree; nought beside what was not measured. Shape (CELLS,)."""
    return floats(np.nan_to_num(np.gradient(np.r_[row[-1], row, row[0]], STEP_DEG)[1:-1]))


def _read(row: Floats, azimuth_deg: Floats) -> Floats:
    return floats(interpolate_azimuthal(wrap360(azimuth_deg), MIDDLE_DEG, row))


def _consensus(rows: Floats, who: Any, turns: Floats, lifts: Floats) -> Floats:
    """Median over the observers' own means, turns and lifts taken out."""
    back = [
        _read(row, MIDDLE_DEG + turn) - lift
        for row, turn, lift in zip(rows, turns, lifts, strict=True)
    ]
    each = [_nanmean(np.array(back)[who == k]) for k in range(who.max() + 1)]
    known = np.isfinite(each).any(axis=0)
    found = np.full(CELLS, np.nan)
    found[known] = np.nanmedian(np.array(each)[:, known], axis=0)
    return found


def _centred(values: Floats, who: Any) -> Floats:
    """Values less their median over observers; what is not known counts as none."""
    each = [_mean(values[who == k]) for k in range(who.max() + 1)]
    known = np.isfinite(each)
    middle = float(np.median(np.array(each)[known])) if known.any() else 0.0
    return floats(np.nan_to_num(values - middle))


def _nanmean(rows: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        return floats(np.nansum(rows, axis=0) / np.isfinite(rows).sum(axis=0))


def _mean(values: Floats) -> float:
    known: Bools = np.isfinite(values)
    return float(values[known].mean()) if known.any() else math.nan


def _mean_where_enough(rows: Floats) -> Floats:
    enough = np.isfinite(rows).mean(axis=1) >= LEAST_SHARE
    return floats(np.where(enough, _nanmean(rows.T), np.nan))


def _by_observer(values: Sequence[float] | Floats, who: Any) -> list[Floats]:
    array = floats(values)
    return [array[(who == k) & np.isfinite(array)] for k in range(who.max() + 1)]


def _of_observer(sweeps: Sequence[SweepOf], mine: Any, what: str, spread: Precision) -> Estimate:
    """An observer's own mean, with the error of fit, sweep to sweep, and calibration."""
    own = [s for s, is_mine in zip(sweeps, mine, strict=True) if is_mine]
    own = [s for s in own if math.isfinite(getattr(s, what).value)]
    if not own:
        return Estimate(math.nan, math.nan)
    fits = [getattr(s, what) for s in own]
    one = math.sqrt(sum(f.error**2 for f in fits) / len(fits))
    if spread.repeatability:
        one = max(one, spread.repeatability.value)
    calibrated = "level_error_deg" if what == "lift_deg" else "heading_error_deg"
    shared = max(getattr(s.traced, calibrated) for s in own)
    value = sum(f.value for f in fits) / len(fits)
    return Estimate(value, math.hypot(one / math.sqrt(len(fits)), shared))


def _common(bias: Sequence[Estimate]) -> Estimate:
    """The observers' mean; its 95 % interval is Student's, which `Estimate` makes of the error."""
    from scipy.stats import t

    values = np.array([one.value for one in bias if math.isfinite(one.value)])
    if len(values) < 2:
        return bias[0] if len(bias) == 1 else Estimate(math.nan, math.nan)
    wider = float(t.ppf(0.975, len(values) - 1)) / NORMAL_95
    return Estimate(float(values.mean()), wider * float(values.std(ddof=1)) / len(values) ** 0.5)


def _tracing(
    sweeps: Sequence[SweepOf], who: Any, against_truth: bool, assumed_deg: float
) -> TracingBias | None:
    """The tracing bias that an interval of one sweep should allow for.

    Of p observers the mean square m of their lifts, less the errors of fit and level, is found with
    v = p degrees of freedom against a truth and with v = p - 1 against each other; an observer
    whose lift has the error e counts by 1 / (a^2 + e^2)^2. The assumed bias a stands in for what v
    lacks to five: s^2 = (max(5 - v, 0) a^2 + v m) / max(5, v). A 95 % interval made of the normal
    distribution with s t(0.975, max(5, v)) / 1.96 is then Student's.
    """
    from scipy.stats import t

    groups = [
        rows
        for k in range(who.max() + 1)
        if (rows := [s for s, w in zip(sweeps, who, strict=True) if w == k and s.known])
    ]
    if not groups:
        return None
    lift = [np.array([s.lift_deg.value for s in rows]) for rows in groups]
    own = 1.0 if against_truth else 0.0  # the level's error is no difference between observers
    noise = [
        float(np.mean([s.lift_deg.error**2 + own * s.traced.level_error_deg**2 for s in rows]))
        for rows in groups
    ]
    # A sweep that says little of its lift counts for little.
    weight = 1.0 / (assumed_deg**2 + floats(noise)) ** 2
    freedom = float(weight.sum() ** 2 / (weight**2).sum()) - (0 if against_truth else 1)
    if freedom < 0.5:
        return None
    middle = 0.0 if against_truth else float(weight @ [x.mean() for x in lift] / weight.sum())
    square = [float(((x - middle) ** 2).mean()) for x in lift]
    taken = 0.0 if against_truth else 1.0
    mean = float(weight @ square / weight.sum()) * (freedom + taken) / freedom
    found = math.sqrt(max(mean - float(weight @ noise / weight.sum()), 0.0))
    lacking, full = max(ENOUGH_OBSERVERS - freedom, 0.0), max(ENOUGH_OBSERVERS, freedom)
    used = math.sqrt((lacking * assumed_deg**2 + freedom * found**2) / full)
    wider = float(t.ppf(0.975, full)) / NORMAL_95
    return TracingBias(found, len(groups), freedom, against_truth, used * wider)
