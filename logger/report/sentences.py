"""Every sentence about an answer: for the terminal in English, for the document in its language."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.access import AccessResult, Interval, PlaneResult
from logger.access.notes import WORTH_TELLING
from logger.access.result import YEAR
from logger.access.window import Blocked, WindowResult
from logger.checks import NORMAL_95, Check
from logger.report.language import N_, Words
from logger.report.result_tables import (
    UNMEASURED_WORTH_SAYING,
    month_table,
    obstruction_months,
    width_table,
)
from logger.report.tables import MONTHS, as_text, hour_text

if TYPE_CHECKING:
    from logger.calibration import StoredCalibration
    from logger.survey.gains import Gain
    from logger.survey.result import PointResult

# For the terminal


def answer_text(result: PointResult | AccessResult) -> str:
    """An answer for the terminal, plane by plane."""
    access = result if isinstance(result, AccessResult) else result.access
    name = "" if isinstance(result, AccessResult) else result.name
    parts = [
        unfit_sentence(result.checks),
        window_text(access.planes[0].window),
        f"Sky: {access.sky.source}; year {access.settings.year}",
    ]
    for plane in access.planes:
        parts += [as_text(month_table(plane, name)), intervals(plane, Words())]
        taken = obstruction_months(plane, name)
        if len(taken.rows) > 1:
            parts.append(as_text(taken))
    if any(plane.parts for plane in access.planes):
        parts.append(as_text(width_table(access.planes)))
    parts.append(assumptions_text(result))
    return _paragraphs(parts)


def point_story(result: PointResult) -> str:
    """One of several points for the terminal, told shortly: tables compare them."""
    window = window_text(result.access.planes[0].window)
    return _paragraphs([f"== {result.name} ==", unfit_sentence(result.checks), window])


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
            f"From {hours} the sun is out of sight for part of the time in {len(months)} of 12 "
            "months:"
        )
    elif not unknown:
        return f"From {hours} the sun is in sight in every month."
    for month in months:
        stretches = (_stretch(b) for b in blocked_stretches(window) if b.month == month + 1)
        lines.append(f"  {MONTHS[month]}: " + "; ".join(stretches))
    return "\n".join(lines)


def unknown_months(window: WindowResult) -> list[int]:
    """Months in whose solar window part of the horizon was not measured, 0 to 11."""
    shares = window.monthly_unmeasured_fraction
    return [m for m in range(12) if shares[m] > UNMEASURED_WORTH_SAYING]


BLOCKED_FROM = 0.005
"""Share of a month's solar window that must be blocked for the month to count as blocked: what
prints as 99 % clear or less. Nothing else in the program says which months are blocked."""


def blocked_months(window: WindowResult) -> list[int]:
    """Months whose solar window something blocks, 0 to 11; see `BLOCKED_FROM`."""
    clear = window.monthly_clear_fraction
    return [m for m in range(12) if 1.0 - clear[m] > BLOCKED_FROM]


LEAST_SHADE_H = 0.05
"""A shorter stretch of shade is a step of the grid. [h]"""


def blocked_stretches(window: WindowResult) -> list[Blocked]:
    """Of the months that count as blocked."""
    months = blocked_months(window)
    return [
        b
        for b in window.blocked
        if b.month - 1 in months and b.to_solar_hour - b.from_solar_hour >= LEAST_SHADE_H
    ]


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
        lines.append(f"95 % intervals: {access.settings.tracing_words}")
    lines += access.notes
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


# For the document


def interval(found: Interval, w: Words) -> str:
    """A share with the 95 % interval it lies in, or why there is none."""
    named = {"low": w.number(found.low * 100), "high": w.percent(found.high)}
    if math.isnan(found.high):
        return w("no sun")
    if math.isnan(found.value):
        return w("between {low} and {high}", **named)
    if not found.high > found.low:
        return w("{share} (uncertainty not known)", share=w.percent(found.value))
    return w("{share} ({low} to {high})", share=w.percent(found.value), **named)


def place(at_m: Sequence[float | None], w: Words) -> str:
    """Metres east, north and up, or west, south and down."""
    ways = (
        (w("{metres} m east"), w("{metres} m west")),
        (w("{metres} m north"), w("{metres} m south")),
        (w("{metres} m up"), w("{metres} m down")),
    )
    return ", ".join(
        (way[1] if v < -0.05 else way[0]).format(metres=w.number(abs(v), 1))
        for v, way in zip((v or 0.0 for v in at_m), ways, strict=True)
    )


def intervals(plane: PlaneResult, w: Words) -> str:
    """Both intervals of the year's solar access in plain words; empty where nothing was drawn."""
    found = plane.solar_access
    ends = found.low, found.high, found.survey_low, found.survey_high
    low, high, survey_low, survey_high = (w.number(float(end[YEAR]) * 100, 1) for end in ends)
    if math.isnan(found.high[YEAR]) or not found.high[YEAR] > found.low[YEAR]:
        return ""
    return w(
        "{plane}: with all that is uncertain the year lies between {low} and {high} %, with what "
        "the survey leaves open alone between {survey_low} and {survey_high} % (95 %).",
        plane=plane.plane.name,
        low=low,
        high=high,
        survey_low=survey_low,
        survey_high=survey_high,
    )


def shares(planes: Sequence[PlaneResult], w: Words) -> str:
    """What each plane receives over the year."""
    if len(planes) == 1:
        return interval(planes[0].solar_access.year, w)
    return w.listed(
        [
            w("{share} on {plane}", share=interval(p.solar_access.year, w), plane=p.plane.name)
            for p in planes
        ]
    )


def answer(point: str, planes: Sequence[PlaneResult], w: Words) -> str:
    """A point's answer in one sentence: the year on each plane, and the solar window."""
    window = planes[0].window
    clear, unknown, blocked = (
        window.monthly_clear_fraction, unknown_months(window), blocked_months(window),
    )  # fmt: skip
    if all(math.isnan(p.solar_access.year.high) for p in planes):
        return w("{point} gets no sun over the year.", point=point)
    named = {"point": point, "shares": shares(planes, w), **window_hours(window, w)}
    if np.isnan(clear).all():
        return w(
            "Over the year {point} receives {shares} of the light it would under an open, level "
            "horizon; the sun is never up from {start} to {end} h.",
            **named,
        )
    if unknown:
        months = w.months(unknown) if len(unknown) < 12 else w("any month")
        return w(
            "Over the year {point} receives {shares} of the light it would under an open, level "
            "horizon; whether the sun is in sight from {start} to {end} h is not known in "
            "{months}, because the horizon there was not measured.",
            months=months,
            **named,
        )
    if not blocked:
        return w(
            "Over the year {point} receives {shares} of the light it would under an open, level "
            "horizon, and from {start} to {end} h the sun is in sight in every month.",
            **named,
        )
    worst = int(np.nanargmin(clear))
    return w.count(
        "Over the year {point} receives {shares} of the light it would under an open, level "
        "horizon; from {start} to {end} h the sun is out of sight for part of the time in {month}, "
        "when it is in sight for {clear} of these hours.",
        "Over the year {point} receives {shares} of the light it would under an open, level "
        "horizon; from {start} to {end} h the sun is out of sight for part of the time in {n} "
        "months, most in {month}, when it is in sight for {clear} of these hours.",
        len(blocked),
        month=w.month(worst),
        clear=w.percent(clear[worst]),
        **named,
    )


def obstruction(name: str, w: Words) -> str:
    """As somebody named it; of what nobody named the azimuths, in the language."""
    if azimuths := re.fullmatch(r"(\d+) to (\d+°)", name):
        return w("{first} to {last}", first=azimuths[1], last=azimuths[2])
    return name


def window_hours(window: WindowResult, w: Words) -> dict[str, str]:
    """The ends of the solar window as fields of a message."""
    ends = {"start": window.from_solar_hour, "end": window.to_solar_hour}
    return {name: w.number(h, 0 if float(h).is_integer() else 1) for name, h in ends.items()}


def window_by_clock(result: AccessResult, timezone: str, month: int) -> tuple[str, str]:
    """What the ends of the solar window are by the clock in the middle of a month, 1 to 12."""
    from zoneinfo import ZoneInfo

    from logger.sun_paths import utc_of_solar_hour

    window, zone = result.planes[0].window, ZoneInfo(timezone or "UTC")
    day = np.datetime64(dt.date(result.settings.year, month, 15))
    ends = [window.from_solar_hour, window.to_solar_hour]
    moments = utc_of_solar_hour(np.array([day, day]), ends, result.site.longitude_deg)
    first, last = (moment.astype("datetime64[ms]").astype(dt.datetime) for moment in moments)
    first, last = (at.replace(tzinfo=dt.UTC).astimezone(zone) for at in (first, last))
    return f"{first:%H:%M}", f"{last:%H:%M}"


def clock_sentence(result: AccessResult, timezone: str, w: Words) -> str:
    """What the hours of the solar window are by the clock, in June and in December."""
    named = window_hours(result.planes[0].window, w) | {"zone": timezone or "UTC"}
    for month, name in ((6, "june"), (12, "december")):
        named[f"{name}_from"], named[f"{name}_to"] = window_by_clock(result, timezone, month)
    if not timezone:
        return w(
            "Hours are solar time: at 12 the sun is highest. The job names no time zone; in UTC "
            "{start} to {end} h is {june_from} to {june_to} in June and {december_from} to "
            "{december_to} in December.",
            **named,
        )
    return w(
        "Hours are solar time: at 12 the sun is highest. By the clock ({zone}) {start} to {end} h "
        "is {june_from} to {june_to} in June and {december_from} to {december_to} in December.",
        **named,
    )


def gain(gains: Sequence[tuple[Gain, str]], w: Words, unnamed: float = 0.0) -> str:
    """What one change would gain most, of all that could be made; each with where it is."""
    worth = [one for one in gains if one[0].is_worth_telling]
    if not worth and unnamed >= WORTH_TELLING:
        return w(
            "What could be gained is not known: up to {share} of the year's light is blocked by "
            "what nobody has named.",
            share=w.percent(unnamed, 1),
        )
    if not worth:
        return w(
            "Nothing that could be cut or moved takes more than half a percentage point of the "
            "year's light."
        )
    best, where = max(worth, key=lambda one: one[0].value)
    return w(
        "Of what could be removed, taking away {obstruction} would gain most: {gain} percentage "
        "points ({low} to {high}) of the year's light on {where}, from {before} to {after}.",
        obstruction=best.name,
        gain=w.number(best.value * 100, 1),
        low=w.number(best.low * 100, 1),
        high=w.number(best.high * 100, 1),
        where=where,
        before=w.number(best.before * 100, 1),
        after=w.percent(best.before + best.value, 1),
    )


def origin(point: str, at_m: Sequence[float], w: Words) -> str:
    """Where the job's origin is, as somebody finds it from a point."""
    return w(
        "East, north and up count from the job's origin, the place where all three are 0; {point} "
        "stands {place} from it.",
        point=point,
        place=place(at_m, w),
    )


RULES = {
    "solar access": N_("solar access of the year"),
    "total solar resource fraction": N_("total solar resource fraction"),
    "clear solar window in the worst month": N_(
        "sun in sight over the solar window in the worst month"
    ),
}


def capital(text: str) -> str:
    """A text with its first letter large, to start a sentence."""
    return text[:1].upper() + text[1:]


def sky_sentence(result: AccessResult, w: Words) -> str:
    """The sky that the shares rest on."""
    if result.sky.is_known:
        return w("The shares rest on {sky}.", sky=result.sky.source)
    return w(
        "No weather was given: the shares are the middle of many possible skies from clear to "
        "overcast, their intervals take these in, and no energy yield is given."
    )


def unfit(point: PointResult) -> bool:
    """Whether a check of a point failed: no figure of it stands beside others'."""
    return not all(check.passed for check in point.checks)


def unfit_reasons(checks: Sequence[Check], w: Words) -> str:
    """That something is not fit for use, and which checks failed; empty where all passed."""
    failed = dict.fromkeys(w(check.check) for check in checks if not check.passed)
    if not failed:
        return ""
    return w("Not fit for use: failed {checks}.", checks=", ".join(failed))
