"""The answer in words, for the terminal: the solar window first, then the months."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.report.figures import Blocked, PlaneFigures, plane_figures
from logger.report.inputs import true_north
from logger.report.monthly import monthly_table, short_obstruction_table
from logger.report.result_tables import UNMEASURED_WORTH_SAYING
from logger.report.style import MONTHS
from logger.report.tables import as_text


def answer_text(document: Mapping[str, Any]) -> str:
    """A result for the terminal, plane by plane."""
    point = str(document.get("point") or "")
    parts = [unfit_sentence(document)]
    for i, entry in enumerate(document["planes"]):
        plane = plane_figures(entry)
        if i == 0:  # what the skyline blocks is the same for every plane
            parts.append(window_sentence(plane))
        parts.append(as_text(monthly_table(plane, point)))
        taken = short_obstruction_table(plane, point)
        if len(taken.rows) > 1:
            parts.append(as_text(taken))
    parts.append(assumptions_text(document))
    return "\n\n".join(part for part in parts if part)


def unfit_sentence(document: Mapping[str, Any]) -> str:
    """Which checks failed; empty where all passed."""
    failed = [str(g["check"]) for g in document.get("quality", ()) if not g["passed"]]
    return f"NOT FIT FOR USE as it stands: {', '.join(failed)}" if failed else ""


def window_sentence(plane: PlaneFigures) -> str:
    """Is the solar window clear in every month; if not, when is it not, and by what."""
    start, end = plane.window_hours
    window = f"{start:g} to {end:g} solar time"
    unknown = [m for m in range(12) if plane.window_unmeasured[m] > UNMEASURED_WORTH_SAYING]
    months = sorted({b.month for b in plane.blocked})
    lines = []
    if unknown:
        shares = ", ".join(f"{MONTHS[m]} {100 * plane.window_unmeasured[m]:.0f} %" for m in unknown)
        lines.append(f"{window} is not known: the skyline there was not measured ({shares}).")
    if months:
        lines.append(f"{window} is not clear in {len(months)} of 12 months:")
    elif not unknown:
        return f"{window} is clear in every month."
    for month in months:
        stretches = [b for b in plane.blocked if b.month == month]
        lines.append(f"  {MONTHS[month - 1]}: " + "; ".join(_stretch(b) for b in stretches))
    return "\n".join(lines)


def _stretch(blocked: Blocked) -> str:
    by = f" by {blocked.obstruction}" if blocked.obstruction else ""
    return f"{_clock(blocked.from_hour)} to {_clock(blocked.to_hour)}{by}"


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def assumptions_text(document: Mapping[str, Any]) -> str:
    """What the figures rest on, a line each."""
    lines = []
    if north := true_north(document):
        lines.append(north)
    samples = document.get("samples")
    if samples:
        lines.append(f"{samples['used']} of {samples['read']} samples used")
    assumed = document.get("assumptions") or {}
    if assumed:
        lines.append(f"{assumed['sky']}; year {assumed['year']}")
        lines += assumed.get("notes", [])
        lines += [f"  try: {hint}" for hint in assumed.get("hints", [])]
    return "\n".join(lines)
