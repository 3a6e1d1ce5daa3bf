"""Pictures on azimuth and elevation axes: the sun's paths over the skyline, and the sweep."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from logger.angles import angle_between, interpolate_azimuthal, wrap360
from logger.columns import Bools, Floats, floats
from logger.profile import HorizonProfile
from logger.quality import NORMAL_95
from logger.report import style
from logger.report.drawing import Areas, Panel, Sheet, between, unbroken
from logger.report.labels import Box, Labels
from logger.report.tables import shorten
from logger.sightlines import SightLines
from logger.sun_paths import DayTrack, SunPaths

AZIMUTH = "azimuth, clockwise from true north [°]"
ELEVATION = "elevation above level [°]"


def sun_path_chart(
    paths: SunPaths, profile: HorizonProfile, name: str = "", hours: str = "solar"
) -> Sheet:
    """The sun's tracks by date, hour lines, and the skyline with its band and names.

    Parameters
    ----------
    paths : SunPaths
    profile : HorizonProfile
    name : str
        Of the point, for the heading.
    hours : str
        "solar" for apparent solar time, "clock" for the fixed clock of ``paths``.

    Raises
    ------
    ValueError
        Clock hours are asked for and ``paths`` has none.
    """
    sheet = style.new_sheet(height_mm=97)
    panel = style.add_panel(sheet)
    draw_sun_paths(panel, paths, profile, hours)
    clock = "apparent solar time" if hours == "solar" else utc_name(paths.utc_offset_h or 0.0)
    note = f"hours in {clock} · dark: skyline · pale edge: its 95 % band"
    style.title(panel, "The sun's paths over the skyline", note, name)
    return sheet


def draw_sun_paths(
    panel: Panel, paths: SunPaths, profile: HorizonProfile, hours: str = "solar"
) -> None:
    """Draw `sun_path_chart` into a panel."""
    if hours == "clock" and not paths.clock_lines:
        raise ValueError("clock hours need sun paths with a clock")
    middle = paths.site.equatorward_azimuth_deg
    highest_sun = max(float(t.elevation_deg.max()) for t in paths.tracks)
    skyline = profile.elevation_deg[profile.known]
    highest = max(highest_sun, float(skyline.max()) if skyline.size else 0.0, 10.0)
    top = min(97.0, highest + 7.0)
    style.azimuth_axis(panel, middle, AZIMUTH)
    _elevation_axis(panel, 0.0, top)
    _draw_lines_of_sky(panel, paths, middle, hours)
    draw_horizon(panel, profile, middle)
    labels = Labels(panel)
    _label_tracks(labels, paths, profile, middle)
    _label_hours(labels, paths, profile, middle, hours)
    _label_obstructions(labels, profile, middle, style.PAPER)
    sunless = [t for t in paths.tracks if float(t.elevation_deg.max()) <= 0]
    if sunless:
        dates = ", ".join(_dates(t) for t in sunless)
        text = f"sun below the level horizon all day: {dates}"
        look = {"upright": "top", "colour": style.SUN_DEEP, "backing": style.PAPER, "order": 8.0}
        style.write(panel, text, 0, 1, 4, -3, "panel", **look)


def sweep_chart(
    profile: HorizonProfile,
    sights: Sequence[SightLines],
    middle_deg: float,
    name: str = "",
    most: int = 1500,
) -> Sheet:
    """Raw sight lines, the estimate through them and its band.

    Parameters
    ----------
    profile : HorizonProfile
    sights : sequence of SightLines
        A recording each.
    middle_deg : float
        Azimuth in the middle of the axis. [deg]
    name : str
        Of the point, for the heading.
    most : int
        Sight lines drawn at most; beyond that every second, third … one is.
    """
    used = sum(int(s.used.sum()) for s in sights)
    every = max(1, -(-used // most))
    sheet = style.new_sheet(height_mm=73)
    panel = style.add_panel(sheet)
    rows = [np.flatnonzero(s.used)[::every] for s in sights]
    heights = [s.elevation_deg[r] for s, r in zip(sights, rows, strict=True)]
    seen = np.concatenate([*heights, profile.elevation_deg[profile.known]])
    style.azimuth_axis(panel, middle_deg, AZIMUTH)
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 10.0)
    _elevation_axis(panel, min(0.0, np.floor(low) - 1), max(high + 4, 10.0))
    draw_horizon(panel, profile, middle_deg, filled=False)
    for sight, row in zip(sights, rows, strict=True):
        x = np.asarray(angle_between(sight.azimuth_deg[row], middle_deg), dtype=float)
        _draw_dots(panel, x, sight.elevation_deg[row])
    which = "each dot a sight line" if every == 1 else f"each dot one of {every} sight lines"
    note = f"{which} · line: estimate · band: 95 %"
    style.title(panel, "The sweep and the skyline through it", note, name)
    _label_obstructions(Labels(panel), profile, middle_deg, style.INK)
    return sheet


def _draw_dots(panel: Panel, x: Floats, y: Floats) -> None:
    """Points as one path of very short lines: a tenth of the size of as many marks."""
    ends = np.stack([np.stack([x, y], axis=1), np.stack([x + 0.02, y], axis=1)], axis=1)
    gap = np.full((len(x), 1, 2), np.nan)
    path = np.concatenate([ends, gap], axis=1).reshape(-1, 2)
    style.lines(panel, [path], style.SUN, 1.3, round_ends=True, opacity=0.65, order=4.5)


def draw_horizon(
    panel: Panel, profile: HorizonProfile, middle_deg: float, filled: bool = True
) -> None:
    """The skyline as a shape, its 95 % band, and hatching where it was not measured.

    Parameters
    ----------
    panel : Panel
        With its limits set.
    profile : HorizonProfile
    middle_deg : float
        Azimuth in the middle of the axis. [deg]
    filled : bool
        Dark below the skyline, or pale.
    """
    x, elevation, band = _nodes_across(profile, middle_deg)
    bottom = panel.y_limits[0]
    known = np.isfinite(elevation)
    below = between(x, bottom, np.maximum(elevation, bottom))
    panel.add(Areas(below, style.SKYLINE if filled else style.SKYLINE_PALE, order=3.0))
    if band is not None:
        # What may stand above the line lies behind the sun's tracks, so that they can be followed.
        for low, high, order in ((elevation, band[1], 1.5), (band[0], elevation, 4.0)):
            panel.add(Areas(between(x, low, high), style.BAND, opacity=0.8, order=order))
    outline = np.stack([x, elevation], axis=1)
    style.lines(panel, [outline], style.SKYLINE_DEEP, 1.1, order=5.0)
    gaps = _gaps(x, known)
    if gaps:
        corners = [(left, right, 0.0, 1.0) for left, right in gaps]
        style.bars(panel, corners, edge=style.BAND, hatch="slanted", frame="x")
    for left, right in gaps:
        if right - left >= 30:
            look = {"across": "middle", "backing": style.PAPER, "order": 7.0}
            style.write(panel, "not measured", (left + right) / 2, 0, 0, 6, "x", **look)


def _elevation_axis(panel: Panel, bottom: float, top: float) -> None:
    step = 10 if top > 35 else 5
    panel.y_limits = (bottom, top)
    ticks = np.arange(np.ceil(bottom / step) * step, min(top, 90) + 0.1, step) + 0.0
    labels = [f"{t:.0f}".replace("-", "−") for t in ticks]
    style.scale_y(panel, ticks, labels, ELEVATION, grid=True)


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


def _draw_lines_of_sky(panel: Panel, paths: SunPaths, middle_deg: float, hours: str) -> None:
    """Tracks, those of the solstices heavier, and hour lines."""
    solstices, others, hour_lines = _lines_of_sky(paths, middle_deg, hours)
    style.lines(panel, hour_lines, style.QUIET, 0.6, dash_pt=(2.4, 1.5))
    style.lines(panel, others, style.SUN, 0.9, order=2.2)
    style.lines(panel, solstices, style.SUN, 1.7, order=2.2)


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
    """Each track's dates on the track, as near noon as they keep clear of the skyline.

    Where the skyline hides all of a track, they stand above the skyline on a stem.
    """
    look = {"colour": style.SUN_DEEP, "backing": style.PAPER}
    for track in paths.tracks:
        if track.elevation_deg.max() <= 0.5:
            continue
        text = _dates(track)
        x = np.asarray(angle_between(track.azimuth_deg, middle_deg), dtype=float)
        order = np.argsort(np.abs(track.solar_hour - 12), kind="stable")
        order = order[track.elevation_deg[order] > 0]
        rooms = (labels.place(text, x[k], float(track.elevation_deg[k])) for k in order)
        clear = (r for r in rooms if r.high <= labels.high and _is_open(r, profile, middle_deg))
        room = next((r for r in clear if labels.is_free(r)), None)
        if room is None:
            noon = float(x[order[0]]), float(track.elevation_deg[order[0]])
            room = labels.place(text, noon[0], noon[1], upward=True)
            over = _highest_under(room, profile, middle_deg)
            room = labels.place(text, noon[0], max(over, noon[1]), upward=True)
            room = labels.free_above(room)
            stem = [noon, (noon[0], room.low)]
            style.lines(labels.panel, [stem], style.SUN_DEEP, 0.6, order=7.0)
        labels.draw(text, room, **look)


def _highest_under(room: Box, profile: HorizonProfile, middle_deg: float) -> float:
    """The skyline's greatest height across a room. [deg]"""
    across = np.linspace(room.left, room.right, 25) + middle_deg
    return float(profile.elevation_at(wrap360(across)).max())


def _is_open(room: Box, profile: HorizonProfile, middle_deg: float) -> bool:
    return room.low > _highest_under(room, profile, middle_deg)


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
    bottom = labels.panel.y_limits[0]
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
        inside = span >= box.right - box.left and under.min() > box.high
        if inside and labels.is_free(box):
            labels.draw(text, box, colour=inside_colour)
            continue
        own = float(np.interp(centre, x[known], elevation[known]))
        box = labels.place(text, centre, max(float(under.max()), bottom), upward=True)
        box = labels.free_above(box)
        stem = [(centre, max(own, bottom)), (centre, box.low)]
        style.lines(labels.panel, [stem], style.INK, 0.6, order=7.0)
        labels.draw(text, box, backing=style.PAPER)


def utc_name(offset_h: float) -> str:
    """Such as UTC+05:30.

    Parameters
    ----------
    offset_h : float
        East positive. [h]
    """
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

    Parameters
    ----------
    elevation, half : array, shape (K,)
        Of the nodes, and the half-width of their bands. [deg]
    near : int
        Nodes on either side that count as the same edge.
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
    last = len(x) - 1
    return [
        (float(x[max(gap.start - 1, 0)]), float(x[min(gap.stop, last)])) for gap in unbroken(~known)
    ]
