"""The report in plain words: what a client reads first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from logger.access import UNNAMED
from logger.access.rules import FAIL, PASS, TOO_CLOSE
from logger.report.figures import PlaneFigures, Share, by_name
from logger.report.inputs import PointReport, ReportInput
from logger.report.result_tables import UNMEASURED_WORTH_SAYING
from logger.report.tables import DASH
from logger.survey.compare import Difference, difference

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip

_SAID = {PASS: "met", FAIL: "not met", TOO_CLOSE: TOO_CLOSE}

_PER_CENT = "\N{NO-BREAK SPACE}%"


def percent(fraction: float, decimals: int = 0) -> str:
    """A fraction in per cent; a dash where it is not defined."""
    return DASH if np.isnan(fraction) else f"{fraction * 100:.{decimals}f}{_PER_CENT}"


def interval(share: Share) -> str:
    """The 95 % interval in words, or that none is known."""
    if np.isnan(share.value):
        return ""
    if share.is_exact:
        return "uncertainty not known"
    return f"95{_PER_CENT} interval {share.low * 100:.0f} to {share.high * 100:.0f}{_PER_CENT}"


def plane_sentences(point: PointReport, plane: PlaneFigures) -> list[str]:
    """What the surroundings leave a plane, its best and poorest months, and what takes most."""
    year = plane.solar_access.year
    if np.isnan(year.value):
        return [f"At {point.name} the plane {plane.name} gets no sun over the year."]
    sentences = [
        f"At {point.name} the plane {plane.name} receives {percent(year.value)} of what an open "
        f"level horizon would give it over the year ({interval(year)})."
    ]
    months = plane.solar_access.value
    if np.isfinite(months).any():
        best, worst = int(np.nanargmax(months)), int(np.nanargmin(months))
        if percent(months[best]) != percent(months[worst]):
            sentences.append(
                f"The most is left in {_MONTHS[best]} ({percent(months[best])}), the least in "
                f"{_MONTHS[worst]} ({percent(months[worst])})."
            )
    dark = [_MONTHS[m] for m in range(12) if np.isnan(months[m])]
    if dark:
        sentences.append(f"Without sun even over an open horizon: {', '.join(dark)}.")
    worst_ones = [o for o in by_name(plane.by_obstruction) if o.year >= 0.005][:3]
    if worst_ones:
        takes = ", ".join(f"{o.name or UNNAMED} {percent(o.year, 1)}" for o in worst_ones)
        sentences.append(f"What takes most of the year's irradiation: {takes}.")
    return sentences


def year_of_planes(point: PointReport) -> str:
    """What the surroundings leave each plane of a point over the year, in one sentence."""
    told = [
        f"{plane.name} {percent(plane.solar_access.year.value)} "
        f"({interval(plane.solar_access.year) or 'no sun over the year'})"
        for plane in point.planes
    ]
    return f"Of what an open level horizon would give over the year: {', '.join(told)}."


def rules_sentence(planes: Sequence[PlaneFigures]) -> str:
    """How many of the rules that were asked for are met, counted plane by plane."""
    counts = Counter(v.verdict for plane in planes for v in plane.verdicts)
    told = [f"{counts[verdict]} {said}" for verdict, said in _SAID.items() if counts[verdict]]
    return f"Rules asked for, each held against every plane of every point: {', '.join(told)}."


def window_sentences(point: PointReport) -> list[str]:
    """Whether the solar window is clear at a point; if not, when not, and what blocks it."""
    plane = point.planes[0]
    start, end = plane.window_hours
    window = f"{start:g} to {end:g} h solar time"
    dark = np.isnan(plane.window_clear)
    unknown = [m for m in range(12) if plane.window_unmeasured[m] > UNMEASURED_WORTH_SAYING]
    months = sorted({b.month - 1 for b in plane.blocked})
    sentences = []
    if unknown:
        sentences.append(
            f"Whether the sun is seen at {point.name} from {window} is not known in "
            f"{_listed(unknown)}: the skyline there was not measured."
        )
    if dark.all():
        return [f"At {point.name} the sun is never up from {window}."]
    if not months:
        if not unknown:
            sentences.append(f"From {window} the sun is seen at {point.name} in every month.")
        return sentences
    clear = plane.window_clear
    worst = int(np.nanargmin(clear))
    at_most = "at most " if worst in unknown else ""
    named = dict.fromkeys(b.obstruction or UNNAMED for b in plane.blocked)
    sentences.append(
        f"From {window} something stands before the sun at {point.name} in "
        f"{len(months)} of 12 months ({_listed(months)}); the least is left in {_MONTHS[worst]}, "
        f"{at_most}{percent(clear[worst])} of that time. In the way: {', '.join(named)}."
    )
    return sentences


def _listed(months: Sequence[int]) -> str:
    """Months by name, three and more on end as a span."""
    runs: list[list[int]] = []
    for m in months:
        if runs and m == runs[-1][-1] + 1:
            runs[-1].append(m)
        else:
            runs.append([m])
    return ", ".join(
        f"{_MONTHS[run[0]]} to {_MONTHS[run[-1]]}"
        if len(run) > 2
        else ", ".join(_MONTHS[m] for m in run)
        for run in runs
    )


def fitness(report: ReportInput) -> tuple[bool, list[str]]:
    """Whether every point has an answer and every quality check passed, and the reasons if not.

    Points without an answer come first: nothing else in the document tells of them.
    """
    reasons = [
        f"{name}: no answer – {why.removeprefix(f'{name}: ')}"
        for name, why in report.missing.items()
    ]
    reasons += [
        f"{point.name}: {check.check} – {check.why}"
        for point in report.points
        for check in point.checks
        if not check.passed
    ]
    reasons += [
        f"{calibration.purpose} calibration: {check.check} – {check.why}"
        for calibration in report.calibrations
        for check in calibration.checks
        if not check.passed
    ]
    return not reasons, list(dict.fromkeys(reasons))


def unfit(point: PointReport) -> bool:
    """Whether a quality check of a point failed: no figure of it stands beside others'."""
    return not all(check.passed for check in point.checks)


def compared(points: Sequence[PointReport], plane: int = 0) -> list[tuple[str, str, Difference]]:
    """Every pair of points, with the difference of their year's solar access on one plane."""
    return [
        (a.name, b.name, difference(_triple(a.planes[plane]), _triple(b.planes[plane])))
        for a, b in combinations(points, 2)
    ]


def verdict(first: str, second: str, gap: Difference) -> str:
    """A pair's difference in one sentence."""
    if np.isnan(gap.value):
        return f"{first} and {second} cannot be compared."
    points = f"{abs(gap.value) * 100:.1f} percentage points of solar access"
    more, less = (first, second) if gap.value >= 0 else (second, first)
    if gap.significant is None:
        return (
            f"{more} has {points} more than {less}; whether that is real cannot be told, "
            "for the uncertainty is not known."
        )
    low, high = sorted((abs(gap.low), abs(gap.high)))
    if gap.significant:
        span = f"95{_PER_CENT} interval {low * 100:.1f} to {high * 100:.1f}"
        return f"{more} has {points} more than {less} ({span})."
    return (
        f"Between {first} and {second} there is no real difference: {points} apart, which is "
        "less than the uncertainty."
    )


def _triple(plane: PlaneFigures) -> tuple[float, float, float]:
    year = plane.solar_access.year
    return year.value, year.low, year.high
