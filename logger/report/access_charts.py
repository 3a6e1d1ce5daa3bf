"""Pictures of figures: access by month, hours of shade, loss by obstruction, tilt and azimuth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from logger.access import PlaneMap
from logger.angles import angle_between
from logger.columns import Bools, Floats, floats
from logger.report import style
from logger.report.drawing import Areas, Marks, Panel, Sheet, unbroken
from logger.report.figures import PlaneFigures, by_name
from logger.report.labels import Labels
from logger.report.monthly import plane_name
from logger.report.tables import DASH, shorten
from logger.shade import ShadeMap


def monthly_access_chart(planes: Sequence[PlaneFigures], name: str = "") -> Sheet:
    """Bars of solar access by month with their 95 % interval, a row a plane.

    Parameters
    ----------
    planes : sequence of PlaneFigures
        At least one.
    name : str
        Of the point, for the heading.
    """
    row, above, below = 38.0, 12.0, 6.0
    several = len(planes) > 1
    sheet = style.new_sheet(height_mm=above + row * len(planes) + 1)
    for k, plane in enumerate(planes):
        panel = style.add_panel(
            sheet,
            top_mm=above + row * k + (5 if several else 0),
            bottom_mm=below + row * (len(planes) - 1 - k),
        )
        draw_monthly_access(panel, plane)
        if several:
            style.subtitle(panel, plane_name(plane))
        if k == 0:
            note = "bar: solar access · line: its 95 % interval · diamond: beam access"
            style.title(panel, "Solar access by month", note, name, 18 if several else 6)
    return sheet


def draw_monthly_access(panel: Panel, plane: PlaneFigures) -> None:
    """Draw one plane's bars, months and the year, into a panel."""
    solar, beam = plane.solar_access, plane.beam_access
    x = np.append(np.arange(12.0), 12.6)
    value = np.append(solar.value, solar.year.value) * 100
    low = np.append(solar.low, solar.year.low) * 100
    high = np.append(solar.high, solar.year.high) * 100
    beam_value = np.append(beam.value, beam.year.value) * 100
    known = np.isfinite(value)
    panel.x_limits, panel.y_limits = (-0.6, 13.2), (0.0, 104.0)
    bars = [(a - 0.37, a + 0.37, 0.0, v) for a, v in zip(x, value, strict=True)]
    for which, colour in ((slice(0, 12), style.SUN_PALE), (slice(12, 13), style.SUN_YEAR)):
        shown = [bar for bar, is_known in zip(bars[which], known[which], strict=True) if is_known]
        style.bars(panel, shown, fill=colour)
    wide = known & (high > low)
    spans = [[(x[k], low[k]), (x[k], high[k])] for k in np.flatnonzero(wide)]
    style.lines(panel, spans, style.INK, 1.3, order=4.0)
    diamonds = np.stack([x + 0.22, beam_value], axis=1)
    panel.add(
        Marks(diamonds, "diamond", 3.0, style.PAPER, style.SKYLINE_DEEP, width_pt=0.9, order=5.0)
    )
    for position, number in zip(x, value, strict=True):
        text = f"{number:.0f}" if np.isfinite(number) else DASH
        style.write(panel, text, float(position), 0, 0, 3, across="middle")
    style.scale_x(panel, x, [*style.MONTHS, "year"], ticks=False)
    shares = [0, 25, 50, 75, 100]
    style.scale_y(
        panel, shares, [str(s) for s in shares], "solar access [%]", ticks=False, grid=True
    )


SHADE_STEPS = ("#f5f2ea", "#dfe3e8", "#cdd6e2", "#b8c5d6", "#a0b1c8", "#8599b4", "#6b829f",
               "#54698a", "#3f5270", "#2b3a4e")  # fmt: skip
"""One hue from nearly white (nothing lost) to dark (all lost), in tenths."""

BLOCKED_FROM = 0.95
"""Share of the sun's time from which a cell of the shade map counts as blocked."""


def shade_chart(shade: ShadeMap, name: str = "") -> Sheet:
    """Month by hour: how much of the sun's time the skyline takes.

    Parameters
    ----------
    shade : ShadeMap
    name : str
        Of the point, for the heading.
    """
    sheet = style.new_sheet(height_mm=62)
    panel = style.add_panel(sheet, right_mm=34)
    draw_shade(panel, shade)
    style.title(panel, "Hours in the shade", "month by hour of the day, in calendar order", name)
    _draw_shade_key(panel)
    return sheet


def draw_shade(panel: Panel, shade: ShadeMap) -> None:
    """Draw tiles, darker the longer the sun is hidden, hatched where it is blocked throughout."""
    up = np.flatnonzero(np.isfinite(shade.shaded).any(axis=0))
    first, last = (int(up[0]), int(up[-1]) + 1) if up.size else (12, 36)
    low, high = np.floor(shade.hour[first]), np.ceil(shade.hour[last])
    panel.x_limits, panel.y_limits = (float(low), float(high)), (11.5, -0.5)
    unmeasured = shade.unmeasured > 0.5
    tenth = np.minimum(np.nan_to_num(shade.shaded) * 10, 9).astype(int)
    shown = np.isfinite(shade.shaded) & ~unmeasured
    for step, colour in enumerate(SHADE_STEPS):
        tiles = _tiles(shade, shown & (tenth == step), join=False)
        style.bars(panel, tiles, fill=colour, edge=style.PAPER, width_pt=0.5)
    for which, hatch in ((shade.shaded >= BLOCKED_FROM, "crossed"), (unmeasured, "slanted")):
        tiles = _tiles(shade, which, join=True)
        style.bars(panel, tiles, edge=style.BAND, hatch=hatch)
    step = 1 if high - low <= 18 else 2
    hours = np.arange(np.ceil(low / step) * step, high + 0.1, step)
    style.scale_x(panel, hours, [f"{h:.0f}" for h in hours], "apparent solar time [h]", ticks=False)
    style.scale_y(panel, range(12), style.MONTHS, ticks=False)
    for row in np.flatnonzero(~np.isfinite(shade.shaded).any(axis=1)):
        how: Any = {"across": "middle", "upright": "middle", "colour": style.QUIET}
        style.write(panel, "no sun", (low + high) / 2, float(row), **how)


def _tiles(shade: ShadeMap, which: Bools, join: bool) -> list[tuple[float, float, float, float]]:
    """Rectangles of the marked cells, neighbours of one month joined on demand."""
    if not join:
        return [
            (shade.hour[k], shade.hour[k + 1], month - 0.5, month + 0.5)
            for month, k in np.argwhere(which)
        ]
    found = []
    for month, mask in enumerate(which):
        found += [
            (shade.hour[run.start], shade.hour[run.stop], month - 0.47, month + 0.47)
            for run in unbroken(mask)
        ]
    return found


def _draw_shade_key(panel: Panel) -> None:
    """The ramp beside the tiles, with the two hatches named."""
    how: Any = {"frame": "panel", "clipped": False}
    left, right = 1.027, 1.053
    for k, colour in enumerate(SHADE_STEPS):
        low = 0.38 + 0.056 * k
        style.bars(panel, [(left, right, low, low + 0.056)], fill=colour, **how)
    for share in (0, 50, 100):
        at = 0.38 + 0.0056 * share
        style.write(panel, str(share), right, at, 4, 0, "panel", upright="middle")
    words: Any = {"upright": "middle", "leading": 1.3}
    style.write(panel, "share of\nthe sun's\ntime [%]", right, 0.66, 26, 0, "panel", **words)
    for low, fill, hatch, text in (
        (0.16, SHADE_STEPS[-1], "crossed", "blocked"),
        (0.0, "none", "slanted", "not measured"),
    ):
        shape = [(left, right, low, low + 0.12)]
        style.bars(panel, shape, fill=fill, edge=style.BAND, hatch=hatch, **how)
        style.write(panel, text, right, low + 0.06, 4, 0, "panel", **words)


def obstruction_chart(plane: PlaneFigures, name: str = "", most: int = 12) -> Sheet:
    """Bars of what each obstruction takes of the year, the greatest first.

    Parameters
    ----------
    plane : PlaneFigures
        With at least one obstruction.
    name : str
        Of the point, for the heading.
    most : int
        Bars drawn; the rest is named as a number.
    """
    ranked = by_name(plane.by_obstruction)
    shown = ranked[:most]
    sheet = style.new_sheet(height_mm=24 + 6.5 * len(shown))
    panel = style.add_panel(sheet, left_mm=52, right_mm=14)
    values = np.nan_to_num(np.array([o.year for o in shown])) * 100
    widest = max(float(values.max()) * 1.08, 1.0)
    panel.x_limits, panel.y_limits = (0.0, widest), (len(shown) - 0.4, -0.6)
    bars = [(0.0, v, k - 0.33, k + 0.33) for k, v in enumerate(values)]
    style.bars(panel, bars, fill=style.SKYLINE)
    for k, (o, value) in enumerate(zip(shown, values, strict=True)):
        left: Any = {"across": "right", "upright": "middle"}
        style.write(panel, f"{value:.1f}", max(value, 0.0), k, 4, upright="middle")
        sector = (
            f"azimuth {o.from_azimuth_deg:.0f} to {o.to_azimuth_deg:.0f}°"
            if np.isfinite(o.from_azimuth_deg)
            else "all its sectors together"
        )
        text = shorten(o.name or "skyline without a name", 26)
        style.write(panel, text, 0, k, -5, 3, **left)
        style.write(panel, sector, 0, k, -5, -5, colour=style.QUIET, size_pt=6, **left)
    ticks = _round_ticks(0.0, widest)
    name_of_scale = "loss of the year's irradiation on the plane [%]"
    style.scale_x(panel, ticks, [f"{t:g}" for t in ticks], name_of_scale, ticks=False, grid=True)
    style.lines(panel, [[(0, 0), (0, 1)]], style.QUIET, 0.6, frame="panel")
    more = f"{len(ranked) - most} smaller ones not shown" if len(ranked) > most else ""
    style.title(panel, "Loss by obstruction", more or plane_name(plane), name)
    return sheet


def _round_ticks(low: float, high: float, most: int = 10) -> Floats:
    """Multiples of 1, 2 or 5 times a power of ten within limits, at most so many."""
    for power in range(-3, 4):
        for factor in (1, 2, 5):
            step = factor * 10.0**power
            if (high - low) / step <= most:
                first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
                return floats(np.arange(first, last + 0.5) * step + 0.0)  # + 0.0: no negative zero
    return floats([low, high])


def tilt_chart(
    tilts: PlaneMap, planes: Sequence[PlaneFigures], middle_deg: float, name: str = ""
) -> Sheet:
    """Lines of equal yearly irradiation over tilt and azimuth, with the planes marked.

    Parameters
    ----------
    tilts : PlaneMap
        Under the point's horizon.
    planes : sequence of PlaneFigures
    middle_deg : float
        Azimuth in the middle of the axis: the equator's side. [deg]
    name : str
        Of the point, for the heading.
    """
    sheet = style.new_sheet(height_mm=79)
    panel = style.add_panel(sheet)
    style.azimuth_axis(panel, middle_deg, "azimuth the plane faces, clockwise from true north [°]")
    panel.y_limits = (0.0, 90.0)
    shown = range(0, 91, 15)
    style.scale_y(panel, shown, [str(t) for t in shown], "tilt from horizontal [°]")
    labels = Labels(panel)
    _draw_shares(labels, tilts, middle_deg)
    marks = [("best", tilts.best.azimuth_deg, tilts.best.tilt_deg, _BEST)]
    marks += [(shorten(p.name, 24), p.azimuth_deg, p.tilt_deg, _OURS) for p in planes]
    places = [(float(angle_between(azimuth, middle_deg)), tilt) for _, azimuth, tilt, _ in marks]
    for (_, _, _, look), place in zip(marks, places, strict=True):
        panel.add(Marks(floats([place]), edge=style.INK, width_pt=1.1, order=6.0, **look))
        labels.keep_free(*place, look["size_pt"])
    for (text, *_), (x, y) in zip(marks, places, strict=True):
        box = labels.free_above(labels.place(text, x, y + 2.0, upward=True))
        if box.high > labels.high:
            box = labels.place(text, x, 2 * y - (box.low + box.high) / 2)
        labels.draw(text, box, backing=style.PAPER)
    note = "lines: the year's irradiation as a share of the best plane's [%]"
    style.title(panel, "Tilt and azimuth", note, name)
    return sheet


_BEST: Any = {"sign": "cross", "size_pt": 8.0}
_OURS: Any = {"sign": "dot", "size_pt": 4.5, "fill": style.PAPER}

SHARE_LINES = (30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 95.0, 98.0)
"""Shares of the best plane's irradiation that the tilt map draws a line for. [%]"""


def _draw_shares(labels: Labels, tilts: PlaneMap, middle_deg: float) -> None:
    """Bands and lines of equal irradiation, each line with its share where it runs levelest."""
    from contourpy import FillType, LineType, contour_generator

    panel = labels.panel
    x = np.asarray(angle_between(tilts.azimuth_deg, middle_deg), dtype=float)
    order = np.argsort(x, kind="stable")
    # Both ends of the axis are one azimuth, which the grid holds once.
    x = np.concatenate([x[order], [x[order][0] + 360.0]])
    share = tilts.irradiation_kwh_m2[:, order] / tilts.best.irradiation_kwh_m2 * 100
    share = np.concatenate([share, share[:, :1]], axis=1)
    found: Any = contour_generator(
        x, tilts.tilt_deg, share, line_type=LineType.Separate, fill_type=FillType.OuterCode
    )
    bounds = [0.0, *SHARE_LINES, 100.001]
    for k in range(len(bounds) - 1):
        outlines, codes = found.filled(bounds[k], bounds[k + 1])
        rings = [
            ring
            for outline, code in zip(outlines, codes, strict=True)
            for ring in np.split(outline, np.flatnonzero(code == _BEGINS)[1:])
        ]
        panel.add(Areas(tuple(rings), _sun_ramp(k / (len(bounds) - 2))))
    for level in SHARE_LINES:
        lines = found.lines(level)
        style.lines(panel, lines, style.SUN_DEEP, 0.5)
        for line in lines:
            _label_line(labels, f"{level:.0f}", line)


_BEGINS = 1
"""contourpy's code of a ring's first point."""


def _label_line(labels: Labels, text: str, line: Floats) -> None:
    """Write on a line where it is levelest, where there is room."""
    if len(line) < 3:
        return
    run, rise = np.abs(np.diff(line, axis=0)).T
    for k in np.argsort(np.arctan2(rise / labels.per_point_y, run / labels.per_point_x)):
        x, y = (line[k] + line[k + 1]) / 2
        box = labels.place(text, x, y)
        inside = box.left < x < box.right and labels.low <= box.low and box.high <= labels.high
        if inside and labels.is_free(box):
            labels.draw(text, box, backing=style.PAPER, order=3.0)
            return


def _sun_ramp(share: float) -> str:
    """A colour between paper, the faintest sun and the pale sun."""
    stops = [
        [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
        for colour in (style.PAPER, style.SUN_FAINT, style.SUN_PALE)
    ]
    mixed = [np.interp(share, [0.0, 0.5, 1.0], parts) for parts in zip(*stops, strict=True)]
    return "#" + "".join(f"{round(float(part)):02x}" for part in mixed)


def comparison_chart(points: Sequence[tuple[str, PlaneFigures]]) -> Sheet:
    """Solar access of the year at several points on one scale, each with its interval.

    Parameters
    ----------
    points : sequence of (name, plane)
        At least one; planes alike, so that only the place differs.
    """
    sheet = style.new_sheet(height_mm=25 + 6.0 * len(points))
    panel = style.add_panel(sheet, left_mm=46, right_mm=14)
    lows = [p.solar_access.year.low * 100 for _, p in points]
    lowest = min([v for v in lows if np.isfinite(v)], default=0.0)
    least = max(0.0, float(np.floor(lowest / 10)) * 10 - 2)
    panel.x_limits, panel.y_limits = (least, 100.5), (len(points) - 0.4, -0.6)
    for k, (name, plane) in enumerate(points):
        year = plane.solar_access.year
        known = np.isfinite(year.value)
        text = f"{year.value * 100:.1f}" if known else DASH
        how: Any = {"frame": "y", "upright": "middle"}
        style.write(panel, shorten(name, 26), 0, k, -5, 0, across="right", **how)
        style.write(panel, text, 1, k, 8, 0, **how)
    years = [(k, p.solar_access.year) for k, (_, p) in enumerate(points)]
    years = [(k, y) for k, y in years if np.isfinite(y.value)]
    spans = [[(y.low * 100, k), (y.high * 100, k)] for k, y in years]
    style.lines(panel, spans, style.BAND, 4.5)
    dots = floats([(y.value * 100, k) for k, y in years])
    panel.add(Marks(dots.reshape(-1, 2), "dot", 5.0, style.SUN_DEEP, order=3.0))
    ticks = _round_ticks(least, 100.0)
    label = "solar access of the year [%]"
    style.scale_x(panel, ticks, [f"{t:g}" for t in ticks], label, ticks=False, grid=True)
    style.lines(panel, [[(0, 0), (0, 1)]], style.QUIET, 0.6, frame="panel")
    style.title(panel, "Points compared", "dot: estimate · bar: 95 % interval")
    return sheet
