"""Pictures on azimuth and elevation axes: the sun's paths over the skyline, and the sweep."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from logger.arrays import Bools, Floats, floats
from logger.checks import NORMAL_95
from logger.geometry import angle_between, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile
from logger.orientation.sight_lines import SightLines
from logger.report import style
from logger.report.labels import Box, Labels
from logger.report.tables import shorten
from logger.sun_paths import DayTrack, SunPaths

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

AZIMUTH = "azimuth, clockwise from true north [°]"
ELEVATION = "elevation above level [°]"


def sun_path_chart(
    paths: SunPaths, profile: HorizonProfile, name: str = "", hours: str = "solar"
) -> Figure:
    """The sun's tracks by date, hour lines, and the skyline with its band and names."""
    with style.house_style():
        figure = style.new_figure(height_mm=97 if hours == "solar" else 84)
        axes = style.add_axes(figure)
        draw_sun_paths(axes, paths, profile, hours)
        clock = "apparent solar time" if hours == "solar" else utc_name(paths.utc_offset_h or 0.0)
        note = f"hours in {clock} · dark: skyline · pale edge: its 95 % band"
        style.title(axes, "The sun's paths over the skyline", note, name)
    return figure


def draw_sun_paths(
    axes: Axes, paths: SunPaths, profile: HorizonProfile, hours: str = "solar"
) -> None:
    """Draw `sun_path_chart` into axes."""
    if hours == "clock" and not paths.clock_lines:
        raise ValueError("clock hours need sun paths with a clock")
    middle = paths.site.equatorward_azimuth_deg
    highest_sun = max(float(t.elevation_deg.max()) for t in paths.tracks)
    skyline = profile.elevation_deg[profile.known]
    highest = max(highest_sun, float(skyline.max()) if skyline.size else 0.0, 10.0)
    top = min(97.0, highest + 7.0)
    style.azimuth_axis(axes, middle, AZIMUTH)
    _elevation_axis(axes, 0.0, top)
    _draw_lines_of_sky(axes, paths, middle, hours)
    draw_horizon(axes, profile, middle)
    labels = Labels(axes)
    _label_tracks(labels, paths, profile, middle)
    _label_hours(labels, paths, profile, middle, hours)
    _label_obstructions(labels, profile, middle, style.PAPER)
    sunless = [t for t in paths.tracks if float(t.elevation_deg.max()) <= 0]
    if sunless:
        dates = ", ".join(_dates(t) for t in sunless)
        style.write(
            axes,
            f"sun below the level horizon all day: {dates}",
            0,
            1,
            4,
            -3,
            "axes",
            va="top",
            colour=style.SUN_DEEP,
            backed=True,
        )


def sweep_chart(
    profile: HorizonProfile,
    sights: Sequence[SightLines],
    middle_deg: float,
    name: str = "",
    most: int = 1500,
) -> Figure:
    """Raw sight lines, the estimate through them and its band."""
    used = sum(int(s.used.sum()) for s in sights)
    every = max(1, -(-used // most))
    with style.house_style():
        figure = style.new_figure(height_mm=73)
        axes = style.add_axes(figure)
        rows = [np.flatnonzero(s.used)[::every] for s in sights]
        heights = [s.elevation_deg[r] for s, r in zip(sights, rows, strict=True)]
        seen = np.concatenate([*heights, profile.elevation_deg[profile.known]])
        style.azimuth_axis(axes, middle_deg, AZIMUTH)
        low, high = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 10.0)
        # Room for names in three rows.
        room = max(4.0, 0.25 * (high - min(0.0, low)))
        _elevation_axis(axes, min(0.0, np.floor(low) - 1), max(high + room, 10.0))
        draw_horizon(axes, profile, middle_deg, filled=False)
        for sight, row in zip(sights, rows, strict=True):
            x = np.asarray(angle_between(sight.azimuth_deg[row], middle_deg), dtype=float)
            _draw_dots(axes, x, sight.elevation_deg[row])
        which = "each dot a sight line" if every == 1 else f"each dot one of {every} sight lines"
        note = f"{which} · line: estimate · band: 95 %"
        style.title(axes, "The sweep and the skyline through it", note, name)
        labels = Labels(axes)
        _label_obstructions(labels, profile, middle_deg, style.INK)
    return figure


def _draw_dots(axes: Axes, x: Floats, y: Floats) -> None:
    """Points as one path of dots: a tenth of the size of as many markers in an SVG."""
    dots = np.stack([np.stack([x, y], axis=1), np.stack([x + 0.02, y], axis=1)], axis=1)
    look = {"capstyle": "round", "alpha": 0.65, "zorder": 4.5}
    style.lines(axes, list(dots), style.SUN, 1.3, **look)


def draw_horizon(
    axes: Axes, profile: HorizonProfile, middle_deg: float, filled: bool = True
) -> None:
    """The skyline as a shape, its 95 % band, and hatching where it was not measured."""
    x, elevation, band = _nodes_across(profile, middle_deg)
    bottom = axes.get_ylim()[0]
    known = np.isfinite(elevation)
    axes.fill_between(
        x,
        bottom,
        np.maximum(elevation, bottom),
        where=known.tolist(),
        lw=0,
        color=style.SKYLINE if filled else style.SKYLINE_PALE,
        zorder=3,
    )
    if band is not None:
        # What may stand above the line lies behind the sun's tracks, so that they can be followed.
        for low, high, order in ((elevation, band[1], 1.5), (band[0], elevation, 4.0)):
            axes.fill_between(x, low, high, lw=0, color=style.BAND, alpha=0.8, zorder=order)
    axes.plot(x, elevation, color=style.SKYLINE_DEEP, lw=1.1, zorder=5, solid_joinstyle="round")
    gaps = _gaps(x, known)
    if gaps:
        style.boxes(
            axes,
            [(left, right, 0.0, 1.0) for left, right in gaps],
            transform=axes.get_xaxis_transform(),
            facecolor="none",
            edgecolor=style.BAND,
            hatch="////",
            lw=0,
            zorder=1,
        )
    for left, right in gaps:
        if right - left >= 30:
            style.write(
                axes,
                "not measured",
                (left + right) / 2,
                0,
                0,
                6,
                "x",
                ha="center",
                backed=True,
            )


def _elevation_axis(axes: Axes, bottom: float, top: float) -> None:
    step = 10 if top > 35 else 5
    axes.set_ylim(bottom, top)
    ticks = np.arange(np.ceil(bottom / step) * step, min(top, 90) + 0.1, step) + 0.0
    style.scale_y(axes, ticks, [f"{t:.0f}".replace("-", "−") for t in ticks], ELEVATION, grid=True)


def _across(azimuth: Floats, elevation: Floats, middle_deg: float) -> tuple[Floats, Floats]:
    """Chart coordinates of a path, cut where it leaves one end of the axis for the other."""
    x = np.asarray(angle_between(azimuth, middle_deg), dtype=float)
    out_x, out_y = [x[0]], [elevation[0]]
    for k in range(1, len(x)):
        jump = x[k] - x[k - 1]
        if abs(jump) > 180:
            edge = 180.0 if x[k - 1] > 0 else -180.0
            near, far = abs(edge - x[k - 1]), 180.0 - abs(x[k])
            share = near / (near + far) if near + far > 0 else 0.5
            y = elevation[k - 1] + share * (elevation[k] - elevation[k - 1])
            out_x += [edge, np.nan, -edge]
            out_y += [y, np.nan, y]
        out_x.append(x[k])
        out_y.append(elevation[k])
    return floats(out_x), floats(out_y)


def _draw_lines_of_sky(axes: Axes, paths: SunPaths, middle_deg: float, hours: str) -> None:
    """Tracks, those of the solstices heavier, and hour lines."""
    solstices, others, hour_lines = _lines_of_sky(paths, middle_deg, hours)
    style.lines(axes, hour_lines, colour=style.QUIET, width_pt=0.6, ls=(0, (4, 2.5)), zorder=2)
    style.lines(axes, others, colour=style.SUN, width_pt=0.9, zorder=2.2)
    style.lines(axes, solstices, colour=style.SUN, width_pt=1.7, zorder=2.2)


@lru_cache(maxsize=8)
def _lines_of_sky(
    paths: SunPaths, middle_deg: float, hours: str
) -> tuple[tuple[Floats, ...], tuple[Floats, ...], tuple[Floats, ...]]:
    """Chart coordinates of solstice tracks, other tracks and hour lines; alike for all points."""

    def line(azimuth: Floats, elevation: Floats) -> Floats:
        seen = np.where(elevation > -2, elevation, np.nan)
        return np.stack(_across(azimuth, seen, middle_deg), axis=1)

    tracks = [(len(t.dates), line(t.azimuth_deg, t.elevation_deg)) for t in paths.tracks]
    hour_lines = []
    for hour in paths.hour_lines if hours == "solar" else paths.clock_lines:
        if hour.elevation_deg.max() > 1.0:
            found = line(hour.azimuth_deg, hour.elevation_deg)
            # Past the zenith the sun changes sides between two days: that is no line.
            found[1:, 1][np.abs(np.diff(found[:, 0])) > 60] = np.nan
            hour_lines.append(found)
    return (
        tuple(t for dates, t in tracks if dates == 1),
        tuple(t for dates, t in tracks if dates > 1),
        tuple(hour_lines),
    )


def _label_hours(
    labels: Labels, paths: SunPaths, profile: HorizonProfile, middle_deg: float, hours: str
) -> None:
    """Each hour's number, outside the track on which the sun stands highest at that hour."""
    for line in paths.hour_lines if hours == "solar" else paths.clock_lines:
        k = int(np.argmax(line.elevation_deg))
        x = float(angle_between(line.azimuth_deg[k], middle_deg))
        aside = float(np.clip(x / 60, -1, 1)) * 7
        up = 13.0 if abs(x) < 12 else 6.0  # the track's dates stand at noon
        if abs(x) > 172:
            x, aside = -180.0, 6.0
        beside = x + aside * labels.per_point_x + middle_deg
        behind = float(profile.elevation_at([line.azimuth_deg[k], beside]).max())
        if line.elevation_deg[k] > max(1.0, behind):
            y = float(line.elevation_deg[k])
            labels.put(f"{line.hour:.0f}", x, y, aside, up, colour=style.QUIET)


def _label_tracks(
    labels: Labels, paths: SunPaths, profile: HorizonProfile, middle_deg: float
) -> None:
    """Each track's dates on what is seen of the track, over the skyline as little as can be.

    Where they find no such place within four hours of noon, they stand above it on a stem.
    """
    for track in paths.tracks:
        if track.elevation_deg.max() <= 0.5:
            continue
        text = _dates(track)
        x = np.asarray(angle_between(track.azimuth_deg, middle_deg), dtype=float)
        y = track.elevation_deg
        seen = y > np.nan_to_num(profile.elevation_at(track.azimuth_deg)) + 0.5
        near_noon = np.abs(track.solar_hour - 12) <= 4.0
        at = np.flatnonzero(seen & near_noon & (y > 0))[::2]
        rooms = [labels.place(text, x[k], float(y[k])) for k in at]
        found = [
            (hidden + abs(hour - 12) / 50, room)
            for hidden, hour, room in zip(
                _share_hidden(rooms, profile, middle_deg), track.solar_hour[at], rooms, strict=True
            )
            if room.high <= labels.high and labels.is_free(room)
        ]
        if found:
            _, room = min(found)
        else:
            noon = float(x[np.argmax(y)]), float(y.max())
            room = labels.place(text, *noon, upward=True)
            over = float(_skyline_across([room], profile, middle_deg).max())
            room = labels.free_above(labels.place(text, noon[0], max(over, noon[1]), upward=True))
            stem = [noon, (noon[0], room.low)]
            style.lines(labels.axes, [stem], colour=style.SUN_DEEP, width_pt=0.6, zorder=7)
        labels.draw(text, room, colour=style.SUN_DEEP, backed=True)


def _skyline_across(rooms: Sequence[Box], profile: HorizonProfile, middle_deg: float) -> Floats:
    """The skyline's height across each room, level where it was not measured. [deg]"""
    left, right = (np.array([getattr(room, side) for room in rooms]) for side in ("left", "right"))
    across = np.linspace(left, right, 13, axis=-1) + middle_deg
    return floats(np.nan_to_num(profile.elevation_at(wrap360(across))))


def _share_hidden(rooms: Sequence[Box], profile: HorizonProfile, middle_deg: float) -> Floats:
    """How much of each room lies over the skyline, 0 to 1."""
    if not rooms:
        return np.zeros(0)
    low, high = (np.array([[getattr(room, side)] for room in rooms]) for side in ("low", "high"))
    under = (_skyline_across(rooms, profile, middle_deg) - low) / (high - low)
    return floats(np.clip(under, 0.0, 1.0).mean(axis=1))


def _dates(track: DayTrack) -> str:
    return " · ".join(f"{d.day} {style.MONTHS[d.month - 1]}" for d in track.dates)


def _label_obstructions(
    labels: Labels, profile: HorizonProfile, middle_deg: float, inside_colour: str
) -> None:
    """Names of obstructions, inside the dark shape where they fit, else above it on a stem."""
    x, elevation, _ = _nodes_across(profile, middle_deg)
    known = np.isfinite(elevation)
    if not known.any():
        return
    bottom = labels.axes.get_ylim()[0]
    spans = [
        (float(wrap360(o.to_azimuth_deg - o.from_azimuth_deg)), o) for o in profile.obstructions
    ]
    # A name that stands in several sectors is written once, on the widest.
    widest = {o.name: (span, o) for span, o in sorted(spans, key=lambda pair: pair[0])}
    for span, o in widest.values():
        text = shorten(o.name, 28)
        centre = float(angle_between(o.from_azimuth_deg + span / 2, middle_deg))
        box = labels.place(text, centre, bottom, upward=True)
        across = np.linspace(box.left, box.right, 25)
        under = np.interp(across, x[known], elevation[known])
        # White letters need dark behind all of them, and there is none where nothing was measured.
        dark = np.interp(across, x, np.where(known, elevation, bottom)) > box.high
        inside = span >= box.right - box.left and bool(dark.all())
        if inside and labels.is_free(box):
            labels.draw(text, box, colour=inside_colour)
            continue
        own = float(np.interp(centre, x[known], elevation[known]))
        box = labels.place(text, centre, max(float(under.max()), bottom), upward=True)
        box = labels.free_above(box)
        stem = [(centre, max(own, bottom)), (centre, box.low)]
        style.lines(labels.axes, [stem], colour=style.INK, width_pt=0.6, zorder=7)
        labels.draw(text, box, colour=style.INK, backed=True)


def utc_name(offset_h: float) -> str:
    """Such as UTC+05:30."""
    minutes = round(abs(offset_h) * 60)
    return f"UTC{'-' if offset_h < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _nodes_across(
    profile: HorizonProfile, middle_deg: float
) -> tuple[Floats, Floats, tuple[Floats, Floats] | None]:
    """Chart position, elevation and 95 % band at the nodes and both ends of the axis.

    Elevation is NaN where not measured; there is no band where nothing is known of the errors.
    """
    x = np.asarray(angle_between(profile.azimuth_deg, middle_deg), dtype=float)
    order = np.argsort(x, kind="stable")
    seam = float(wrap360(middle_deg + 180.0))
    at_seam = float(profile.elevation_at(seam, unmeasured_deg=np.nan))
    elevation = np.where(profile.known, profile.elevation_deg, np.nan)[order]
    x = np.concatenate([[-180.0], x[order], [180.0]])
    elevation = np.concatenate([[at_seam], elevation, [at_seam]])
    if profile.standard_error_deg is None and profile.level_error_deg == 0:
        kept = _worth_drawing(elevation)
        return x[kept], elevation[kept], None
    random = (
        np.zeros(len(profile))
        if profile.standard_error_deg is None
        else np.where(profile.known, profile.standard_error_deg, np.nan)
    )
    seam_error = float(interpolate_azimuthal(seam, profile.azimuth_deg, random))
    error = np.hypot(
        np.concatenate([[seam_error], random[order], [seam_error]]), profile.level_error_deg
    )
    low, high = _band(elevation, NORMAL_95 * error)
    kept = _worth_drawing(elevation) | _worth_drawing(low) | _worth_drawing(high)
    return x[kept], elevation[kept], (low[kept], high[kept])


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
    """Stretches without a measured skyline, from the last measured node to the next one."""
    edges = np.flatnonzero(np.diff(np.r_[False, ~known, False].astype(int))).reshape(-1, 2)
    last = len(x) - 1
    return [(float(x[max(a - 1, 0)]), float(x[min(b, last)])) for a, b in edges]
