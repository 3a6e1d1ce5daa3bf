"""The live view in characters: a screenful, or one line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rich.text import Text

from logger.access import AccessResult
from logger.arrays import Floats
from logger.geometry import angle_between, wrap360
from logger.live.controls import KEYS
from logger.live.digits import LINES, large
from logger.live.guidance import advice, shares, towards_sun
from logger.live.session import LiveView
from logger.report.result_tables import UNMEASURED_WORTH_SAYING
from logger.report.tables import MONTHS

BLOCKS = " ▁▂▃▄▅▆▇█"
WIDEST_LINE = 80
_AXIS = 4  # columns of the elevation axis
_LEAST_ROWS, _MOST_ROWS = 3, 16


@dataclass(frozen=True)
class Marks:
    """Characters of the coverage strip."""

    # Not crossed by the sun; crossed and missing; seen once; seen twice; passes disagree; the
    # sun stands there now
    sunless: str
    missing: str
    once: str
    twice: str
    disputed: str
    sun: str


FULL = Marks(" ", "·", "▒", "█", "!", "*")
PLAIN = Marks(" ", ".", "-", "#", "!", "*")


@dataclass(frozen=True)
class Frame:
    """What stands around a view on the screen."""

    place: str  # Job and point
    state: str = "recording"  # Such as "recording" or "stopped"
    prompt: str = ""  # What the keyboard is asked; empty shows the keys
    message: str = ""  # The last sentence said
    middle_deg: float = 180.0  # Azimuth in the middle of the skyline. [deg]
    # Lines in the skyline's place, such as the answer of the point before
    panel: tuple[str, ...] = ()


def status_line(view: LiveView) -> str:
    """One line of at most 80 characters, for output that is no terminal."""
    if view.nothing:
        return f"{view.elapsed_s:5.0f} s  {view.nothing}"
    rate = f"{view.rate_hz:.0f} Hz"
    parts = [
        f"{view.elapsed_s:5.0f} s",
        f"azimuth {_number(view.azimuth_deg, 5)}°",
        f"elevation {_number(view.elevation_deg, 5)}°",
        f"lean {_number(view.lean_deg, 4, 0)}°",
        rate,
    ]
    if view.coverage is not None:
        parts.append(f"seen {100 * (1 - shares(view.coverage)[0]):.0f} %")
    if view.running is not None:
        parts.append(f"access {_percent(view.running.access.planes[0].solar_access.annual)}")
    line = " ".join(parts)
    if len(line) > WIDEST_LINE:
        # A part is left out whole, the least wanted one; a number that is cut would be another one.
        line = " ".join(part for part in parts if part is not rate)
    return line


def access_words(view: LiveView) -> str:
    """The year's solar access so far, plane by plane."""
    if view.running is None:
        return "-"
    return ", ".join(_percent(p.solar_access.annual) for p in view.running.access.planes)


def window_words(access: AccessResult) -> str:
    """Whether the solar window is clear so far: "9 to 15 h clear" or the months that are not."""
    window = access.planes[0].window
    hours = f"{window.from_solar_hour:g} to {window.to_solar_hour:g} h"
    months = sorted({b.month for b in window.blocked})
    if len(months) > 6:
        return f"{hours} not clear in {len(months)} of 12 months"
    if months:
        return f"{hours} not clear in {', '.join(MONTHS[m - 1] for m in months)}"
    # NaN in a month without sun compares as known.
    if (window.monthly_unmeasured_fraction > UNMEASURED_WORTH_SAYING).any():
        return f"{hours} not all seen yet"
    return f"{hours} clear so far"


def screen(view: LiveView, frame: Frame, width: int, height: int, unicode: bool = True) -> Text:
    """The whole screen, exactly as many lines as it has; what does not fit is left out."""
    words, warns = advice(view)
    advised = Text(f" {words} "[:width].ljust(width), style="bold reverse red" if warns
                   else "bold reverse")  # fmt: skip
    foot = Text((frame.prompt or KEYS)[:width], style="bold" if frame.prompt else "dim")
    top = [_title(frame, view, width)]
    figures = _figures(view, width, unicode)
    facts = [Text(line[:width]) for line in _facts(view, width)]
    message = [Text(frame.message[:width], style="yellow")] if frame.message else []
    fixed = len(top) + 1 + len(facts) + len(message) + 1
    body: list[Text] = []
    room = height - fixed
    if room >= len(figures):
        body += figures
        room -= len(figures)
    else:
        line = f"azimuth {_number(view.azimuth_deg, 5)}°  elevation {_number(view.elevation_deg)}°"
        body.append(Text(line[:width], style="bold"))
        room -= 1
    body.append(advised)
    rows = min(room - 2, _MOST_ROWS)
    if frame.panel:
        body += [Text(line[:width]) for line in frame.panel[:room]]
    elif rows >= _LEAST_ROWS:
        body += _skyline(view, frame.middle_deg, width, rows, unicode)
    elif room >= 2:
        body += _skyline(view, frame.middle_deg, width, 0, unicode)
    lines = [*top, *body, *facts, *message]
    lines = lines[: height - 1]
    lines += [Text("")] * (height - 1 - len(lines))
    return Text("\n", no_wrap=True, overflow="crop", end="").join([*lines, foot])


def _title(frame: Frame, view: LiveView, width: int) -> Text:
    right = f"{frame.state} {int(view.elapsed_s) // 60}:{int(view.elapsed_s) % 60:02d} "
    left = f" {frame.place}"[: max(0, width - len(right) - 1)]
    return Text(left.ljust(width - len(right)) + right, style="reverse")


def _figures(view: LiveView, width: int, unicode: bool) -> list[Text]:
    """Azimuth and elevation, large, with their names beside."""
    block = "█" if unicode else "#"
    azimuth = large(_number(view.azimuth_deg, 5), block)
    elevation = large(_number(view.elevation_deg, 5), block)
    gap = " " * max(2, min(10, (width - len(azimuth[0]) - len(elevation[0]) - 22) // 2))
    lines = []
    for i in range(LINES):
        names = ("azimuth", "elevation") if i == 0 else ("°", "°") if i == 1 else ("", "")
        line = f" {azimuth[i]} {names[0]:<9}{gap}{elevation[i]} {names[1]:<9}"
        lines.append(Text(line[:width].ljust(width), style="bold"))
    return lines


def _facts(view: LiveView, width: int) -> list[str]:
    narrow = width < 76
    sun = "sun below the level" if math.isnan(view.sun_deg) else f"sun {view.sun_deg:.0f}° off"
    lean = f"lean {abs(view.lean_deg):.0f}° {'right' if view.lean_deg > 0 else 'left'}"
    if math.isnan(view.lean_deg):
        lean = "lean -"
    motion = [
        lean,
        f"speed {_number(view.speed_deg_s, 0, 0)}°/s",
        f"tremor {_number(view.tremor_deg, 0)}°",
        sun,
    ]
    if math.isnan(view.field.strength_off):
        field = "field: compass not calibrated"
    else:
        state = "disturbed" if view.field.rejected else "odd" if view.field.flagged else "good"
        field = (
            f"field {state}: {round(100 * view.field.strength_off):+d} %, "
            f"dip {view.field.dip_off_deg:+.1f}°"
        )
    link = f"{view.rate_hz:.0f} Hz, {view.lost} lost, {view.damaged} damaged"
    marks = f"{view.marks} marks, {view.held} held still"
    seen = "nothing seen yet"
    if view.coverage is not None:
        missing, once, twice = (100 * share for share in shares(view.coverage))
        seen = f"sun-crossed: {missing:.0f} % missing, {once:.0f} % once, {twice:.0f} % twice"
    answer = "no answer yet"
    if view.running is not None:
        answer = f"access so far {access_words(view)}; {window_words(view.running.access)}"
    between = "  " if narrow else "   "
    if narrow:
        return [between.join(motion), seen, answer, field, between.join([link, marks])]
    return [between.join(motion), between.join([seen, marks]), answer, between.join([field, link])]


def _skyline(view: LiveView, middle_deg: float, width: int, rows: int, unicode: bool) -> list[Text]:
    """The skyline so far over the coverage strip; no rows give the strip alone."""
    columns = width - _AXIS - 1
    edges = middle_deg - 180.0 + np.arange(columns) * 360.0 / columns
    centre = np.asarray(wrap360(edges + 180.0 / columns), dtype=float)
    lines = []
    if rows:
        heights = _heights(view, centre, columns)
        known = heights[np.isfinite(heights)]
        top = max(20.0, float(np.ceil(max(known, default=0.0) / 10.0) * 10.0))
        if not math.isnan(view.elevation_deg):
            top = max(top, float(np.ceil((view.elevation_deg + 0.1) / 10.0) * 10.0))
        here = None
        if not math.isnan(view.azimuth_deg):
            offset = float(angle_between(view.azimuth_deg, middle_deg)) + 180.0
            here = min(columns - 1, int(offset / 360.0 * columns))
        lines = _bars(heights, top, rows, here, view.elevation_deg, unicode)
    strip = "".join(_strip(view, centre, FULL if unicode else PLAIN))
    lines.append(Text(f"{'seen':>{_AXIS}} {strip}"))
    lines.append(Text(" " * (_AXIS + 1) + _compass_points(middle_deg, columns), style="dim"))
    return lines


def _heights(view: LiveView, centre: Floats, columns: int) -> Floats:
    """Highest skyline within each column; NaN where nothing was seen."""
    if view.running is None:
        return np.full(columns, np.nan)
    horizon = view.running.horizon
    width = 360.0 / columns
    column = np.rint(
        (np.asarray(wrap360(horizon.azimuth_deg - centre[0] + width / 2)) - width / 2) / width
    )
    heights = np.full(columns, np.nan)
    for k, height in zip(column.astype(int) % columns, horizon.elevation_deg, strict=True):
        heights[k] = np.fmax(heights[k], height)
    return heights


def _bars(
    heights: Floats, top: float, rows: int, here: int | None, elevation_deg: float, unicode: bool
) -> list[Text]:
    filled = np.nan_to_num(heights, nan=0.0) / top * rows
    row_of_sight = -1
    if here is not None and not math.isnan(elevation_deg):
        row_of_sight = int(np.clip(elevation_deg / top * rows, 0, rows - 1))
    lines = []
    for row in range(rows - 1, -1, -1):
        part = np.clip(filled - row, 0.0, 1.0)
        if unicode:
            cells = [BLOCKS[round(float(p) * 8)] for p in part]
        else:
            cells = ["#" if p > 0.5 else " " for p in part]
        if row == row_of_sight and here is not None:
            cells[here] = "+"
        # The row that a multiple of ten degrees falls into, its upper end included, bears it.
        tens = math.floor(top * (row + 1) / rows / 10.0 + 1e-9)
        label = f"{tens * 10}°" if tens > math.floor(top * row / rows / 10.0 + 1e-9) else ""
        lines.append(Text(f"{label:>{_AXIS}} " + "".join(cells)))
    return lines


def _strip(view: LiveView, centre: Floats, marks: Marks) -> Sequence[str]:
    """One character a column: how often the worst of its sun-crossed cells was seen."""
    coverage = view.coverage
    if coverage is None:
        return [marks.sunless] * len(centre)
    near = towards_sun(view)
    cells = coverage.passes.size
    half = 180.0 / len(centre)
    strip = []
    for a in centre:
        first, last = (a - half) / 360.0 * cells, (a + half) / 360.0 * cells
        which = np.arange(int(np.floor(first)), int(np.ceil(last))) % cells
        crossed = which[coverage.sun_crossed[which]]
        if crossed.size == 0:
            strip.append(marks.sunless)
        elif near is not None and near[crossed].any() and coverage.passes[crossed].min() < 2:
            strip.append(marks.sun)
        elif coverage.disagreeing[crossed].any():
            strip.append(marks.disputed)
        else:
            least = min(int(coverage.passes[crossed].min()), 2)
            strip.append((marks.missing, marks.once, marks.twice)[least])
    return strip


def _compass_points(middle_deg: float, columns: int) -> str:
    line = [" "] * columns
    for azimuth, name in ((0, "N"), (45, "NE"), (90, "E"), (135, "SE"),
                          (180, "S"), (225, "SW"), (270, "W"), (315, "NW")):  # fmt: skip
        at = int((float(angle_between(azimuth, middle_deg)) + 180.0) / 360.0 * columns)
        for i, letter in enumerate(name):
            if at + i < columns:
                line[at + i] = letter
    return "".join(line)


def _number(value: float, width: int = 0, decimals: int = 1) -> str:
    return "-".rjust(width) if math.isnan(value) else f"{value:{width}.{decimals}f}"


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100 * share:.0f} %"
