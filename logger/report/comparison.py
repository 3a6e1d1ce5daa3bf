"""Points side by side, and a result beside the stored one, in words and tables."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import fields

from logger.report.language import N_, Words
from logger.report.sentences import BLOCKED_FROM
from logger.report.tables import MONTHS, Column, Table, as_text, in_words
from logger.settings import Settings, written
from logger.survey.changes import Changes, FigureChange, Moved
from logger.survey.compare import Best, Comparison, PlaneAt, PlaneYear, plane_year

NOT_KNOWN = "not known"

WORTH_A_ROW = 5e-4
"""A share that changed by less than this is not shown: 0.05 points."""


ROUND_POINTS = 2.0
"""From here on a difference is told in whole percentage points, as the shares themselves are."""

AT_POINTS = (
    N_(
        "Solar access at {more} is about {points} percentage points higher than at {less}; whether "
        "that is significant is not known, because the uncertainty is not."
    ),
    N_(
        "Solar access at {more} and {less} does not differ significantly: {points} percentage "
        "points, less than the uncertainty."
    ),
    N_(
        "Solar access at {more} is about {points} percentage points higher than at {less} ({low} "
        "to {high})."
    ),
)
OF_PLANES = (
    N_(
        "The total solar resource fraction of {more} is about {points} percentage points higher "
        "than that of {less}; whether that is significant is not known, because the uncertainty "
        "is not."
    ),
    N_(
        "The total solar resource fraction of {more} and {less} does not differ significantly: "
        "{points} percentage points, less than the uncertainty."
    ),
    N_(
        "The total solar resource fraction of {more} is about {points} percentage points higher "
        "than that of {less} ({low} to {high})."
    ),
)
"""What is said of a difference that may be one or not, is none, or is one."""


def compared(best: Best, w: Words, messages: Sequence[str] = AT_POINTS) -> str:
    """How the best and the next differ, in one sentence."""
    less, gap = best.others[0]
    decimals = int(abs(gap.value) * 100 < ROUND_POINTS)
    low, high = sorted((abs(gap.low), abs(gap.high)))
    return w(
        messages[{None: 0, False: 1, True: 2}[gap.significant]],
        more=best.name,
        less=less,
        points=w.number(abs(gap.value) * 100, decimals),
        low=w.number(low * 100, decimals),
        high=w.number(high * 100, decimals),
    )


def comparison_text(found: Comparison) -> str:
    """What all figures rest on, once; then each plane's points, and which is best."""
    parts = [basis_text(found)]
    for points in found.planes:
        if points:
            parts += [as_text(_year_table(points, found)), as_text(_month_table(points))]
    means = [
        f"{points[0].plane}: {_mean_sentence(mean)}"
        for points in found.planes
        if (mean := plane_year(points)) is not None and mean.points > 1
    ]
    sentences = means + [
        f"{plane}: {_told(best, AT_POINTS)}" for plane, best in found.best_point.items() if best
    ]
    sentences += [
        f"At {point}: {_told(best, OF_PLANES)}" for point, best in found.best_plane.items() if best
    ]
    sentences += [f"{point} is not compared: {why}" for point, why in found.not_compared.items()]
    return "\n\n".join([*(part.rstrip() for part in parts), "\n".join(sentences)]).rstrip()


def _told(best: Best, messages: Sequence[str]) -> str:
    """By how much the best is ahead, and which others may as well be the best."""
    ties = [name for name in best.ties if name != best.others[0][0]]
    more = f" The same holds of {', '.join(ties)}." if ties else ""
    return f"{compared(best, Words(), messages)}{more}"


def _mean_sentence(mean: PlaneYear) -> str:
    """A plane's year once, however many points it has."""
    sentence = (
        f"the mean solar access of its {mean.points} points is {100 * mean.access:.1f} %, the "
        f"worst is {mean.worst} with {100 * mean.worst_access:.1f} %"
    )
    if math.isnan(mean.energy_kwh):
        return sentence
    return f"{sentence}; the array would give {mean.energy_kwh:.0f} kWh a year, by the mean"


def basis_text(found: Comparison) -> str:
    """Sky, planes and settings of a comparison."""
    planes = (f"{p.name}, {p.tilt_deg:g}° facing {p.azimuth_deg:g}°" for p in found.recipe.planes)
    return "\n".join(
        (
            f"Sky: {found.sky}",
            f"Planes: {'; '.join(planes)}",
            f"Settings: {settings_words(found.recipe.settings)}",
        )
    )


def settings_words(settings: Settings) -> str:
    """The settings that are not as by default."""
    default = Settings()
    told = [
        f"{one.name} {written(getattr(settings, one.name))}"
        for one in fields(settings)
        if getattr(settings, one.name) != getattr(default, one.name)
    ]
    return ", ".join(told) if told else "all as by default"


def settings_text(settings: Settings) -> str:
    """Every setting with its value, its default, its limits and what it means."""
    lines = []
    for one in fields(settings):
        value, about = getattr(settings, one.name), one.metadata
        told = [] if value == one.default else [f"default {written(one.default)}"]
        if about["limits"]:
            low, high = (f"{x:.10g}" if abs(x) < 10_000 else f"{x:,.0f}" for x in about["limits"])
            told.append(f"{low} to {high} {about['unit']}".strip())
        told += [", ".join(about["choices"])] if "choices" in about else []
        lines += [
            f"{one.name} = {written(value)}" + (f"  ({'; '.join(told)})" if told else ""),
            f"    {about['meaning']}",
        ]
    return "\n".join(lines)


def _year_table(points: Sequence[PlaneAt], found: Comparison) -> Table[PlaneAt]:
    start, end = found.recipe.settings.solar_window
    columns: list[Column[PlaneAt]] = [
        Column("point", lambda at: at.point),
        Column("year's access", lambda at: at.access[0] if at.known else NOT_KNOWN, "%", 1, 100.0),
        Column("low", lambda at: at.access[1], "%", 1, 100.0),
        Column("high", lambda at: at.access[2], "%", 1, 100.0),
        Column("loss", lambda at: at.loss_kwh_m2, "kWh/m²", 1),
        Column(f"blocked {start:g}–{end:g}\xa0h", _blocked),
        Column(
            "blocks most", lambda at: f"{at.most[0]} {100 * at.most[1]:.1f}\xa0%" if at.most else ""
        ),
    ]
    if found.recipe.weather is None:  # no energy is told
        del columns[4]
    return Table(points[0].plane, points, columns)


def _blocked(at: PlaneAt) -> str:
    if not at.known:
        return NOT_KNOWN
    months = zip(MONTHS, at.window_clear, strict=True)
    return " ".join(m for m, share in months if 1.0 - share > BLOCKED_FROM) or "never"


def _month_table(points: Sequence[PlaneAt]) -> Table[PlaneAt]:
    def month(k: int) -> Column[PlaneAt]:
        return Column(MONTHS[k], lambda at: at.monthly_access[k], "", 0, 100.0)

    title = f"{points[0].plane}: solar access by month [%]"
    point = Column[PlaneAt]("point", lambda at: at.point)
    return Table(title, points, [point, *map(month, range(12))])


def changes_text(changes: Changes) -> str:
    """Stored and new side by side."""
    if changes.nothing:
        return "Against the stored result: nothing changed."
    parts = ["Against the stored result:"]
    if changes.settings:
        differing = [(one.name, one.stored, one.now) for one in changes.settings]
        head = ("what differs", "stored", "now")
        parts.append(in_words("Settings and inputs", head, differing).rstrip())
    rows = [f for f in changes.figures if _worth_a_row(f)]
    if rows:
        parts.append(as_text(_figure_table(rows)).rstrip())
    parts.append(
        "\n".join([*changes.planes, _horizon_words(changes.horizon), *_check_words(changes)])
    )
    return "\n\n".join(parts)


def _worth_a_row(figure: FigureChange) -> bool:
    if figure.figure == "solar access, year":
        return True
    least = WORTH_A_ROW if figure.unit == "1" else 100 * WORTH_A_ROW
    return figure.differs and not abs(figure.by) < least


def _figure_table(figures: Sequence[FigureChange]) -> Table[FigureChange]:
    def of(name: str) -> Callable[[FigureChange], float]:
        return lambda f: (100.0 if f.unit == "1" else 1.0) * getattr(f, name)

    columns: list[Column[FigureChange]] = [
        Column("plane", lambda f: f.plane),
        Column("figure", lambda f: f"{f.figure} [{'%' if f.unit == '1' else 'kWh/m²'}]"),
        Column("stored", of("stored"), "", 1),
        Column("now", of("now"), "", 1),
        Column("change", of("by"), "", 1),
    ]
    return Table("Figures", figures, columns)


def _horizon_words(moved: Moved) -> str:
    words = (
        f"horizon: moved by up to {moved.largest_deg:.2f}° (azimuth {moved.at_azimuth_deg:.0f}°)"
    )
    if math.isnan(moved.largest_deg):
        words = "horizon: not measured in both at any azimuth"
    elif moved.largest_deg <= 1e-6:
        words = "horizon: the same"
    if moved.measured_deg:
        more = "more" if moved.measured_deg > 0 else "less"
        words += f"; {abs(moved.measured_deg):g}° {more} of it measured"
    return words


def _check_words(changes: Changes) -> list[str]:
    return [
        f"check: {one.name} {'now passes, failed' if one.now else 'now fails, passed'} before"
        for one in changes.checks
    ]
