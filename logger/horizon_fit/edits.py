"""What edits do to a point's sweeps and horizon; each leaves its trace in the profile's steps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from logger.arrays import floats
from logger.edits import Edit, ExcludeSpan, SetSector, excluded
from logger.geometry import in_sector, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile
from logger.horizon_fit.passes import SightedSweep

EXCLUDED = "excluded by an edit"  # Reason given to rows that an edit excludes
STEP_DEG = 0.5  # Between the nodes of a sector that is set


def edited_passes(
    passes: Sequence[SightedSweep], edits: Sequence[Edit]
) -> tuple[SightedSweep, ...]:
    """The recordings of a point after the changes that concern recordings."""
    kept = [one for one in passes if one.name not in excluded(edits)]
    for edit in edits:
        if isinstance(edit, ExcludeSpan):
            kept = [replace(o, sight=o.sight.without(_rows(o, edit), EXCLUDED)) for o in kept]
    return tuple(kept)


def _rows(one: SightedSweep, edit: ExcludeSpan) -> Any:
    """Which sight lines of a recording an edit excludes."""
    sight = one.sight
    if edit.recording not in ("", one.name):
        return np.zeros(len(sight), dtype=bool)
    if edit.from_s is not None and edit.to_s is not None:
        return (sight.t_s >= edit.from_s) & (sight.t_s <= edit.to_s)
    assert edit.from_azimuth_deg is not None and edit.to_azimuth_deg is not None  # noqa: PT018
    with np.errstate(invalid="ignore"):
        return in_sector(sight.azimuth_deg, edit.from_azimuth_deg, edit.to_azimuth_deg)


def edited_profile(profile: HorizonProfile, edits: Iterable[Edit]) -> HorizonProfile:
    """The profile after the changes that concern it; every change is noted in its steps."""
    for edit in edits:
        if isinstance(edit, SetSector):
            profile = _with_sector(profile, edit)
        profile = replace(profile, steps=(*profile.steps, str(edit)))
    return profile


def _with_sector(profile: HorizonProfile, edit: SetSector) -> HorizonProfile:
    """The profile with a straight line in a sector; the seams are vertical edges."""
    start, end = edit.from_azimuth_deg, edit.to_azimuth_deg
    width = float(wrap360(end - start)) or 360.0
    share = np.linspace(0.0, 1.0, max(2, int(width / STEP_DEG) + 1))
    rise = edit.to_elevation_deg - edit.from_elevation_deg
    error = profile.standard_error_deg
    keep = ~in_sector(profile.azimuth_deg, start, start + width)
    # Just outside either end; none where the sector is the whole circle.
    beside = np.array([start - 1e-7, end + 1e-7] if width < 360.0 else [])
    left, right = slice(0, 1), slice(1, 2)
    height = np.atleast_1d(profile.elevation_at(beside, unmeasured_deg=np.nan))
    spread = np.atleast_1d(interpolate_azimuthal(beside, profile.azimuth_deg, np.nan_to_num(error)))
    seam, line = np.array([start, end][: len(beside)]), start + share * min(width, 359.999)

    def joined(kept: Any, seams: Any, within: Any) -> Any:
        # Of two rows of one azimuth the first belongs to the anticlockwise side.
        return np.concatenate([kept, seams[left], within, seams[right]])

    return replace(
        profile,
        azimuth_deg=joined(profile.azimuth_deg[keep], seam, line),
        elevation_deg=joined(
            profile.elevation_deg[keep], height, edit.from_elevation_deg + share * rise
        ),
        standard_error_deg=floats(
            joined(error[keep], spread, np.full(share.size, edit.standard_error_deg))
        ),
        measured=joined(profile.known[keep], np.isfinite(height), np.full(share.size, True)),
        distance_m=floats([]),
    )
