"""Every sentence about an answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.access import AccessResult
from logger.access.window import Blocked, WindowResult
from logger.checks import NORMAL_95, Check
from logger.report.result_tables import (
    UNMEASURED_WORTH_SAYING,
    month_table,
    obstruction_months,
    planes_table,
    taken_table,
)
from logger.report.tables import MONTHS, as_text, hour_text

if TYPE_CHECKING:
    from logger.calibration import StoredCalibration
    from logger.survey.pipeline import PointResult

# For the terminal


def answer_text(result: PointResult | AccessResult) -> str:
    """An answer for the terminal, plane by plane."""
    access = result if isinstance(result, AccessResult) else result.access
    name = "" if isinstance(result, AccessResult) else result.name
    parts = [unfit_sentence(result.checks), window_text(access.planes[0].window)]
    for plane in access.planes:
        parts.append(as_text(month_table(plane, name)))
        taken = obstruction_months(plane, name)
        if len(taken.rows) > 1:
            parts.append(as_text(taken))
    parts.append(assumptions_text(result))
    return _paragraphs(parts)


def point_story(result: PointResult) -> str:
    """One of several points for the terminal, told shortly: the full tables are in the files."""
    planes = result.access.planes
    taken = taken_table(planes)
    parts = [
        f"== {result.name} ==",
        unfit_sentence(result.checks),
        window_text(planes[0].window),
        as_text(planes_table(planes)),
        as_text(taken) if taken.rows else "",
    ]
    return _paragraphs(parts)


def _paragraphs(parts: Sequence[str]) -> str:
    return "\n\n".join(part.rstrip("\n") for part in parts if part)


def unfit_sentence(checks: Sequence[Check]) -> str:
    """Which checks failed; empty where all passed."""
    failed = dict.fromkeys(check.check for check in checks if not check.passed)
    return f"NOT FIT FOR USE: failed {', '.join(failed)}" if failed else ""


def window_text(window: WindowResult) -> str:
    """Is the solar window clear in every month; if not, when is it not, and by what."""
    hours = f"{window.from_solar_hour:g} to {window.to_solar_hour:g} h solar time"
    unknown = unknown_months(window)
    lines = []
    if unknown:
        shares = window.monthly_unmeasured_fraction
        told = ", ".join(f"{MONTHS[m]} {100 * shares[m]:.0f} %" for m in unknown)
        lines.append(
            f"Whether the sun is in sight from {hours} is not known: the horizon there was not "
            f"measured ({told})."
        )
    months = blocked_months(window)
    if months:
        lines.append(
            f"From {hours} the sun is blocked for part of the time in {len(months)} of 12 months:"
        )
    elif not unknown:
        return f"From {hours} the sun is in sight in every month."
    for month in months:
        stretches = (_stretch(b) for b in window.blocked if b.month == month + 1)
        lines.append(f"  {MONTHS[month]}: " + "; ".join(stretches))
    return "\n".join(lines)


def unknown_months(window: WindowResult) -> list[int]:
    """Months in whose solar window part of the horizon was not measured, 0 to 11."""
    shares = window.monthly_unmeasured_fraction
    return [m for m in range(12) if shares[m] > UNMEASURED_WORTH_SAYING]


def blocked_months(window: WindowResult) -> list[int]:
    """Months in whose solar window something blocks the sun, 0 to 11."""
    return sorted({b.month - 1 for b in window.blocked})


def _stretch(blocked: Blocked) -> str:
    by = f" by {blocked.obstruction}" if blocked.obstruction else ""
    return f"{hour_text(blocked.from_solar_hour)} to {hour_text(blocked.to_solar_hour)}{by}"


def assumptions_text(result: PointResult | AccessResult) -> str:
    """What an answer rests on, a line each."""
    access = result if isinstance(result, AccessResult) else result.access
    lines = []
    if not isinstance(result, AccessResult):
        read = sum(len(sight) for sight in result.horizon.sight)
        used = sum(int(sight.used.sum()) for sight in result.horizon.sight)
        lines = [true_north(result), f"{used} of {read} samples used"]
    lines += [f"{access.sky}; year {access.settings.year}", *access.notes]
    return "\n".join([*lines, *(f"  try: {hint}" for hint in access.hints)])


def assumptions_once(results: Sequence[PointResult]) -> str:
    """What the answers of several points rest on, each line once; not how many samples."""
    lines = [line for result in results for line in assumptions_text(result).splitlines()]
    return "\n".join(line for line in dict.fromkeys(lines) if not line.endswith("samples used"))


def true_north(result: PointResult) -> str:
    """What makes true north of the compass's, with its 95 % interval."""
    of = result.declination
    by_model = f"declination {_within(of.value_deg, of.standard_error_deg)}, {of.source}"
    bearings = [c for chosen in result.chosen for c in chosen.used if c.kind == "bearing"]
    if not bearings:
        return by_model
    told = "; ".join(dict.fromkeys(_bearing(c) for c in bearings))
    if len(bearings) < len(result.chosen):
        part = f"in {len(bearings)} of {len(result.chosen)} recordings"
        return f"{told}, {part}; else {by_model}"
    return f"{told}, in place of the {by_model}"


def _bearing(calibration: StoredCalibration) -> str:
    figures = calibration.figures
    return "bearing calibration " + _within(figures["heading_deg"], figures["standard_error_deg"])


def _within(value_deg: float, standard_error_deg: float) -> str:
    return f"{value_deg:+.2f}° ± {NORMAL_95 * standard_error_deg:.2f}° (95 %)"
