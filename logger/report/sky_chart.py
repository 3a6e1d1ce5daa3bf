"""The sun's paths over a horizon, and the sweep that the horizon comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.checks import NORMAL_95
from logger.geometry import angle_between, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile
from logger.report.charts import (
    BAND,
    HORIZON,
    HORIZON_EDGE,
    PAPER,
    QUIET,
    SUN,
    SUN_DEEP,
    house_style,
    new_axes,
    new_figure,
    note,
)
from logger.report.language import Words
from logger.report.placing import Placer
from logger.report.tables import shortened
from logger.sun_paths import DayTrack, HourLine, SunPaths

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@house_style()
def sun_path_chart(paths: SunPaths, profile: HorizonProfile, w: Words) -> Figure:
    """The sun's tracks by date, hour lines, and the horizon with its band and names."""
    figure = new_figure(78)
    axes = new_axes(figure, 11, 3, 11, 6)
    middle = paths.site.equatorward_azimuth_deg
    known = profile.elevation_deg[profile.known]
    highest = max(float(t.elevation_deg.max()) for t in paths.tracks)
    highest = max(highest, float(known.max()) if known.size else 0.0, 10.0)
    sky_axes(axes, middle, 0.0, min(97.0, highest + 6.0), w)
    for line in paths.hour_lines:
        if line.elevation_deg.max() > 1.0:
            x, y = _across(line.azimuth_deg, line.elevation_deg, middle)
            # Past the zenith the sun changes sides between two days: that is no line.
            y = np.where(np.abs(np.diff(x, prepend=x[0])) > 60, np.nan, y)
            axes.plot(x, y, color=QUIET, lw=0.6, ls=(0, (4, 2.5)), zorder=2)
    for track in paths.tracks:
        x, y = _across(track.azimuth_deg, track.elevation_deg, middle)
        axes.plot(x, y, color=SUN, lw=1.7 if len(track.dates) == 1 else 0.9, zorder=2.2)
    _draw_horizon(axes, profile, middle, w)
    placer = Placer(axes, profile, middle)
    _label_obstructions(placer, profile)
    unseen = [t for t in paths.tracks if not _label_track(placer, t, profile, w)]
    if unseen:
        dates = w.listed([_dates(t, w) for t in unseen])
        text = w("no sun in sight: {dates}", dates=dates)
        axes.text(0.005, 0.99, text, transform=axes.transAxes, va="top", color=SUN_DEEP)
    for line in paths.hour_lines:
        _label_hour(placer, line, w)
    note(axes, w("hours in apparent solar time; dark: horizon, pale edge: its 95 % band"))
    return figure


BLANK_TOP_DEG = 60.0


@house_style()
def blank_sheet(middle_deg: float, w: Words) -> Figure:
    """The axes alone, to draw a horizon on by hand; on paper lying on its side."""
    figure = new_figure(190.0, 277.0)
    sky_axes(new_axes(figure, 13, 5, 13, 8), middle_deg, 0.0, BLANK_TOP_DEG, w)
    return figure


def sky_axes(axes: Axes, middle_deg: float, bottom: float, top: float, w: Words) -> None:
    """Full circle of azimuth with one in the middle, and elevation."""
    compass = (w("N"), w("NE"), w("E"), w("SE"), w("S"), w("SW"), w("W"), w("NW"))
    ticks = np.arange(-180, 181, 45)
    azimuths = [round(float(wrap360(t + middle_deg))) for t in ticks]
    axes.set_xlim(-180, 180)
    axes.set_ylim(bottom, top)
    axes.set_xticks(ticks, [f"{compass[a // 45 % 8]}\n{a}°" for a in azimuths])
    axes.set_xticks(np.arange(-180, 181, 15), minor=True)
    heights = np.arange(np.ceil(bottom / 10) * 10, min(top, 90) + 0.1, 10 if top > 35 else 5)
    axes.set_yticks(heights, [f"{w.number(h)}°" for h in heights])
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    axes.set_xlabel(w("azimuth, clockwise from true north"), labelpad=1)
    axes.set_ylabel(w("elevation above level"), labelpad=1)


def _across(azimuth: Floats, elevation: Floats, middle_deg: float) -> tuple[Floats, Floats]:
    """Chart coordinates of a path above level, broken where it leaves one end for the other."""
    x = np.asarray(angle_between(azimuth, middle_deg), dtype=float)
    y = np.where(elevation > -2, elevation, np.nan)
    jumps = np.flatnonzero(np.abs(np.diff(x)) > 180) + 1
    # The break goes through both ends of the axis, at the height midway.
    edge = np.where(x[jumps - 1] > 0, 180.0, -180.0)
    between = (y[jumps - 1] + y[jumps]) / 2
    at = np.repeat(jumps, 3)
    x = np.insert(x, at, np.stack([edge, edge, -edge], axis=1).ravel())
    y = np.insert(y, at, np.stack([between, between * np.nan, between], axis=1).ravel())
    return floats(x), floats(y)


def _draw_horizon(axes: Axes, profile: HorizonProfile, middle_deg: float, w: Words) -> None:
    """The horizon as a shape, its 95 % band, and hatching where it was not measured."""
    x, elevation, low, high = _nodes_across(profile, middle_deg)
    bottom = axes.get_ylim()[0]
    known = np.isfinite(elevation)
    top = np.maximum(np.nan_to_num(elevation, nan=bottom), bottom)
    axes.fill_between(x, bottom, top, where=known.tolist(), lw=0, color=HORIZON, zorder=3)
    # What may stand above the line lies behind the sun's tracks, so that they can be followed.
    for foot, head, order in ((elevation, high, 1.5), (low, elevation, 4.0)):
        axes.fill_between(x, foot, head, lw=0, color=BAND, alpha=0.8, zorder=order)
    axes.plot(x, elevation, color=HORIZON_EDGE, lw=1.1, zorder=5, solid_joinstyle="round")
    for left, right in _gaps(x, known):
        axes.axvspan(left, right, facecolor="none", edgecolor=BAND, hatch="////", lw=0, zorder=1)
        if right - left >= 30:
            axes.text((left + right) / 2, bottom, w("not measured"), ha="center", va="bottom",
                      bbox={"facecolor": PAPER, "lw": 0, "pad": 1}, zorder=6)  # fmt: skip


def _nodes_across(
    profile: HorizonProfile, middle_deg: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Chart position, elevation and ends of the 95 % band, at the nodes and both ends of the axis.

    NaN where not measured; the band has no width where nothing is known of the errors.
    """
    x = np.asarray(angle_between(profile.azimuth_deg, middle_deg), dtype=float)
    order = np.argsort(x, kind="stable")
    seam = float(wrap360(middle_deg + 180.0))

    def across(values: Floats) -> Floats:
        known = np.where(profile.known, values, np.nan)
        end = [float(interpolate_azimuthal(seam, profile.azimuth_deg, known))]
        return np.concatenate([end, known[order], end])

    x, elevation = np.concatenate([[-180.0], x[order], [180.0]]), across(profile.elevation_deg)
    random = profile.standard_error_deg
    if not np.isfinite(random).any():
        random = np.zeros(len(profile))
    low, high = _band(elevation, NORMAL_95 * np.hypot(across(random), profile.level_error_deg))
    kept = _worth_drawing(elevation) | _worth_drawing(low) | _worth_drawing(high)
    return x[kept], elevation[kept], low[kept], high[kept]


def _band(elevation: Floats, half: Floats, near: int = 4) -> tuple[Floats, Floats]:
    """Low and high ends of the band.

    At a vertical edge whose azimuth is not known to a node, the errors stand for one side or the
    other: there the band runs from the lower side to the higher one and not beyond.
    """
    windows = np.lib.stride_tricks.sliding_window_view
    padded = np.pad(elevation, near, mode="edge"), np.pad(half, near, mode="edge")
    around, halves = (windows(values, 2 * near + 1) for values in padded)
    quiet = np.fmin.reduce(halves, axis=1)
    at_edge = half > 3 * quiet
    low, high = elevation - half, elevation + half
    lowest, highest = np.fmin.reduce(around, axis=1), np.fmax.reduce(around, axis=1)
    low = np.where(at_edge, np.fmax(low, lowest - quiet), low)
    high = np.where(at_edge, np.fmin(high, highest + quiet), high)
    return floats(low), floats(high)


def _worth_drawing(values: Floats, least_deg: float = 0.02, stride: int = 4) -> Bools:
    """Nodes that a line through the others would miss by more than the eye can see.

    A profile may have 1440 nodes and more; all of them make a picture of hundreds of kilobytes.
    """
    kept = np.ones(values.shape, dtype=bool)
    # Not-a-number differs from everything, so that both sides of a gap are kept.
    bend = np.abs(values[2:] - 2 * values[1:-1] + values[:-2])
    kept[1:-1] = ~(bend < least_deg)
    kept[::stride] = True
    return kept


def _gaps(x: Floats, known: Bools) -> list[tuple[float, float]]:
    """Stretches without a measured horizon, from the last measured node to the next one."""
    edges = np.flatnonzero(np.diff(np.r_[False, ~known, False].astype(int))).reshape(-1, 2)
    last = len(x) - 1
    return [(float(x[max(a - 1, 0)]), float(x[min(b, last)])) for a, b in edges]


# What is written into the picture


def _dates(track: DayTrack, w: Words) -> str:
    return " · ".join(w.day(d) for d in track.dates)


def _label_track(placer: Placer, track: DayTrack, profile: HorizonProfile, w: Words) -> bool:
    """Write a track's dates on its visible part, near noon; whether any of it is visible."""
    y = track.elevation_deg
    behind = np.nan_to_num(profile.elevation_at(track.azimuth_deg))
    seen = np.flatnonzero((y > behind + 0.5) & (y > 0.5))
    if not seen.size:
        return False
    near_noon = seen[np.argsort(np.abs(track.solar_hour[seen] - 12), kind="stable")]
    x = np.asarray(angle_between(track.azimuth_deg[near_noon], placer.middle_deg), dtype=float)
    backing = {"facecolor": PAPER, "lw": 0, "pad": 0.6, "alpha": 0.92}
    look = {"color": SUN_DEEP, "bbox": backing, "zorder": 7, "fontsize": 6.5}
    placer.on_path(_dates(track, w), x, y[near_noon], **look)
    return True


def _label_hour(placer: Placer, line: HourLine, w: Words) -> None:
    """Write an hour at the upper end of its line, unless something stands there."""
    k = int(np.argmax(line.elevation_deg))
    x = float(angle_between(line.azimuth_deg[k], placer.middle_deg))
    aside = 6.0 * float(np.clip(x / 60, -1, 1))
    if line.elevation_deg[k] > 1.0:
        text = w.number(line.hour)
        placer.beside(text, x, float(line.elevation_deg[k]), aside, 5.0, color=QUIET, zorder=6)


def _label_obstructions(placer: Placer, profile: HorizonProfile) -> None:
    """Names of obstructions, inside the dark shape where they fit, else above it on a stem."""
    spans = [
        (float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg)), o) for o in profile.obstructions
    ]
    # A name that stands in several sectors is written once, on the widest.
    widest = {o.name: (span, o) for span, o in sorted(spans, key=lambda pair: pair[0])}
    texts = shortened(list(widest), 22)
    for text, (span, o) in zip(texts, widest.values(), strict=True):
        middle = float(angle_between(o.from_azimuth_deg + span / 2, placer.middle_deg))
        placer.name(text, middle, span)
