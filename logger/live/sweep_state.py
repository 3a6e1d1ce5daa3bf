"""What a sweep's screen shows, from the sight of the last seconds and the estimate so far."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np

from logger.arrays import Bools, Floats
from logger.geometry import unit_vector, unwrapped
from logger.horizon_fit import Coverage
from logger.live.estimate import Estimated
from logger.live.pointer import TREMOR_LIMIT_DEG, Pointer, tremor_deg
from logger.live.state import CELLS, Caution, HorizonSoFar, Seen
from logger.site import Site
from logger.sun import sun_track

SUN_DEG = 25.0
"""Sight lines this near to the sun bring the eye into danger. [deg]"""
_SKYLINE_DEG = 8.0  # Stands in for the horizon's height where nothing was seen yet

Direction = tuple[float, float]
"""Azimuth and elevation. [deg]"""


def seen_by_now(coverage: Coverage, until_s: float, here: Pointer | None) -> Coverage:
    """The coverage with what the sight passed after the estimate's last row."""
    if here is None:
        return coverage
    sight = here.sight
    since = sight.used & (sight.t_s > until_s)
    if since.sum() < 2:
        return coverage
    path = unwrapped(sight.azimuth_deg[since]) / 360.0 * coverage.passes.size
    cells = np.arange(math.ceil(path.min()), math.floor(path.max())) % coverage.passes.size
    passes = coverage.passes.copy()
    passes[cells] += 1
    return replace(coverage, passes=passes)


def sun_direction(site: Site, moment: dt.datetime) -> Direction | None:
    """Where the sun stands; None below the level."""
    when = np.array([moment.astimezone(dt.UTC).replace(tzinfo=None)], "datetime64[ns]")
    track = sun_track(when, site)
    here = float(track.azimuth_deg[0]), float(track.elevation_deg[0])
    return here if here[1] > 0 else None


def near_sun(coverage: Coverage, height_deg: Floats, sun: Direction | None) -> Bools:
    """Cells of the coverage whose skyline lies within 25 degrees of the sun."""
    if sun is None:
        return np.zeros(coverage.passes.size, dtype=bool)
    height = np.where(np.isfinite(height_deg), height_deg, _SKYLINE_DEG)
    cosine = unit_vector(coverage.azimuth_deg, height) @ unit_vector(*sun)
    return np.asarray(cosine > np.cos(np.radians(SUN_DEG)), dtype=bool)


def horizon_so_far(coverage: Coverage, height_deg: Floats, later: Bools) -> HorizonSoFar:
    """Coverage and heights as displays take them."""
    passes, crossed = coverage.passes, coverage.sun_crossed
    seen = np.select(
        [
            ~crossed,
            later & (passes < 2),
            coverage.disagreeing & (passes > 1),
            passes == 0,
            passes == 1,
        ],
        [Seen.SUNLESS, Seen.SUN, Seen.DISPUTED, Seen.MISSING, Seen.ONCE],
        default=Seen.TWICE,
    )
    return HorizonSoFar(height_deg, seen).in_columns(CELLS, 180.0)


def cautions(here: Pointer | None, sun: Direction | None) -> tuple[Caution, ...]:
    """What goes before the next instruction, the most pressing first."""
    if here is None:
        return ()
    found = []
    if sun is not None and (away := here.away_from_deg(*sun)) < SUN_DEG:
        words = f"LOOK AWAY: the sun is {away:.0f}° off; leave this part for later"
        found.append(Caution("sun", words))
    if (tremor := tremor_deg(here.sight)) > TREMOR_LIMIT_DEG:
        words = f"the sight shakes by {tremor:.1f}°: wait, or come down"
        found.append(Caution("tremor", words))
    if here.disturbed:
        found.append(Caution("field", "the magnetic field is disturbed here: keep away from iron"))
    return tuple(found)


def sight_words(here: Pointer | None, sun: Direction | None) -> str:
    """Roll, tremor and the sun, in a line."""
    roll = tremor = math.nan
    off = "sun below the level"
    if here is not None:
        roll, tremor = float(here.sight.roll_deg[-1]), tremor_deg(here.sight)
        if sun is not None:
            off = f"sun {here.away_from_deg(*sun):.0f}° off"
    side = "right" if roll > 0 else "left"
    rolled = "roll -" if math.isnan(roll) else f"roll {abs(roll):.0f}° {side}"
    shakes = "tremor -" if math.isnan(tremor) else f"tremor {tremor:.1f}°"
    return f"{rolled}   {shakes}   {off}"


def field_words(here: Pointer | None) -> str:
    """The magnetic field of this moment, in a line."""
    if here is None or here.field is None or not here.field.t_s.size:
        return "magnetic field: compass not calibrated"
    share, dip = float(here.field.strength_share[-1]), float(here.field.dip_deg[-1])
    if math.isnan(share):
        return "magnetic field: -"
    state = "disturbed" if here.disturbed else "undisturbed"
    return f"magnetic field {state}: {round(100 * share):+d} %, dip {dip:+.1f}°"


def seen_words(so_far: HorizonSoFar) -> str:
    """How much of the sun's range was seen, and how often."""
    once, twice = so_far.share(Seen.ONCE), so_far.share(Seen.TWICE, Seen.DISPUTED)
    later = f", {100 * part:.0f} % at the sun" if (part := so_far.share(Seen.SUN)) else ""
    return (
        f"of the sun's range {100 * so_far.share(Seen.MISSING):.0f} % missing, "
        f"{100 * once:.0f} % once, {100 * twice:.0f} % twice{later}"
    )


def access_words(found: Estimated | None) -> str:
    """The year's solar access so far, plane by plane."""
    if found is None:
        return ""
    told = []
    for share in found.solar_access:
        low, high = f"{100 * share.low:.0f}", f"{100 * share.high:.0f} %"
        told.append(
            f"{low} to {high}"
            if math.isnan(share.value)
            else f"{100 * share.value:.0f} % ({low} to {high})"
        )
    return "solar access " + ", ".join(told)
