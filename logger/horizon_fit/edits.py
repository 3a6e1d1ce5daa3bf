"""Changes made in the office: entries of plain data beside the recordings, which stay untouched.

Each says who made it, when and why, and leaves its trace in the profile's steps. Reading and
writing them is the job folder's business; here they are applied.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import MISSING, asdict, dataclass, fields, replace
from typing import Any, ClassVar

import numpy as np

from logger.arrays import floats
from logger.errors import InputError, UsageError
from logger.geometry import in_sector, interpolate_azimuthal, wrap360
from logger.horizon import HorizonProfile
from logger.horizon_fit.labels import combined
from logger.horizon_fit.passes import SightedSweep

DROPPED = "dropped in the office"
"""Reason given to rows that an edit drops."""

ENTRY_HINT = "correct or remove its entry under [[edits]] in job.toml; edit undo removes the last"
"""What helps where an edit cannot be followed."""


@dataclass(frozen=True)
class Edit:
    """What all changes have in common."""

    kind: ClassVar[str] = ""
    # Name; UTC, ISO 8601; one sentence
    who: str
    when: str
    why: str

    def what(self) -> str:
        """The change itself, in words."""
        raise NotImplementedError

    def __str__(self) -> str:
        return f"{self.what()} ({self.who}, {self.when}: {self.why})"

    def as_dict(self) -> dict[str, Any]:
        """Plain data, `kind` included, that `edit_from_dict` takes back."""
        return {"kind": self.kind, **asdict(self)}


@dataclass(frozen=True)
class DropSpan(Edit):
    """Leave a time span of a recording out."""

    kind: ClassVar[str] = "drop span"
    recording: str  # The name of the `SightedSweep`
    # From the recording's start, the second not before the first. [s]
    from_s: float
    to_s: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.from_s <= self.to_s:
            raise UsageError(
                f"a span from {self.from_s:g} to {self.to_s:g} s: it must begin at 0 or later, and "
                "not end before it begins"
            )

    def what(self) -> str:
        """The change itself, in words."""
        return f"{self.recording}: {self.from_s:g} to {self.to_s:g} s left out"


@dataclass(frozen=True)
class LeaveOut(Edit):
    """Leave a whole recording out."""

    kind: ClassVar[str] = "leave out"
    recording: str

    def what(self) -> str:
        """The change itself, in words."""
        return f"{self.recording} left out"


@dataclass(frozen=True)
class TakeIn(Edit):
    """Merge a recording from elsewhere into the point."""

    kind: ClassVar[str] = "take in"
    recording: str

    def what(self) -> str:
        """The change itself, in words."""
        return f"{self.recording} taken in"


@dataclass(frozen=True)
class OverrideSector(Edit):
    """Set the skyline of a sector, straight from one end to the other."""

    kind: ClassVar[str] = "override sector"
    # Clockwise, 0 to 360. [deg]
    from_azimuth_deg: float
    to_azimuth_deg: float
    # -90 to 90. [deg]
    from_elevation_deg: float
    to_elevation_deg: float
    standard_error_deg: float = 1.0  # How sure that is, 1 sigma; 0 to 90. [deg]

    def __post_init__(self) -> None:
        _check(self, (0.0, 360.0), "from_azimuth_deg", "to_azimuth_deg")
        _check(self, (-90.0, 90.0), "from_elevation_deg", "to_elevation_deg")
        _check(self, (0.0, 90.0), "standard_error_deg")

    def what(self) -> str:
        """The change itself, in words."""
        ends = f"{self.from_azimuth_deg:g} to {self.to_azimuth_deg:g}°"
        return f"{ends} set to {self.from_elevation_deg:g} to {self.to_elevation_deg:g}°"


@dataclass(frozen=True)
class ImportHorizon(Edit):
    """Take a sector, or the whole circle, from another horizon."""

    kind: ClassVar[str] = "import horizon"
    source: str  # The name under which the horizon is handed in, such as a file name
    # Clockwise, 0 to 360; 0 and 360 are the whole circle. [deg]
    from_azimuth_deg: float = 0.0
    to_azimuth_deg: float = 360.0
    only_unmeasured: bool = False  # Leave alone what was measured

    def __post_init__(self) -> None:
        _check(self, (0.0, 360.0), "from_azimuth_deg", "to_azimuth_deg")

    def what(self) -> str:
        """The change itself, in words."""
        what = "unmeasured parts of " if self.only_unmeasured else ""
        return f"{what}{self.from_azimuth_deg:g} to {self.to_azimuth_deg:g}° from {self.source}"


def _check(edit: Edit, within: tuple[float, float], *names: str) -> None:
    for name in names:
        value = getattr(edit, name)
        if not within[0] <= value <= within[1]:
            raise UsageError(f"{name} {value:g} is outside {within[0]:g} to {within[1]:g}")


_KINDS: dict[str, type[Edit]] = {
    kind.kind: kind for kind in (DropSpan, LeaveOut, TakeIn, OverrideSector, ImportHorizon)
}


def edit_from_dict(plain: Mapping[str, Any], where: str = "") -> Edit:
    """An edit from plain data."""
    try:
        return _edit_from(plain)
    except UsageError as error:
        raise InputError(error.what, where, error.hint or ENTRY_HINT) from error


def _edit_from(plain: Mapping[str, Any]) -> Edit:
    kind = _KINDS.get(str(plain.get("kind")))
    if kind is None:
        raise UsageError(
            f"no kind of change {plain.get('kind')!r}", hint=f"there are {', '.join(_KINDS)}"
        )
    known = {f.name: f for f in fields(kind)}
    values = {name: value for name, value in plain.items() if name != "kind"}
    if unknown := sorted(set(values) - set(known)):
        raise UsageError(f"a change of kind {kind.kind!r} has no field {unknown[0]!r}")
    for name, f in known.items():
        if name not in values:
            if f.default is MISSING:
                raise UsageError(f"a change of kind {kind.kind!r} needs {name!r}")
            continue
        if f.type == "float":
            values[name] = _number(values[name], name)
        elif f.type == "bool" and not isinstance(values[name], bool):
            raise UsageError(f"{name} of a change is neither true nor false")
        elif f.type == "str":
            values[name] = str(values[name])
    return kind(**values)


def _number(value: Any, name: str) -> float:
    try:
        number = math.nan if isinstance(value, (bool, str)) else float(value)
    except (TypeError, ValueError, OverflowError):  # whole numbers may have hundreds of digits
        number = math.nan
    if not math.isfinite(number):
        raise UsageError(f"{name} of a change is no number")
    return number


def edited_passes(
    passes: Sequence[SightedSweep],
    edits: Iterable[Edit],
    elsewhere: Mapping[str, SightedSweep] | None = None,
) -> tuple[SightedSweep, ...]:
    """The recordings of a point after the changes that concern recordings.

    A change to a recording that is left out has nothing to act on, whichever was entered first.
    """
    result = list(passes)
    left_out: set[str] = set()
    for edit in edits:
        if isinstance(edit, TakeIn):
            if edit.recording not in (elsewhere or {}):
                raise InputError(f"no recording {edit.recording!r} to take in")
            result.append((elsewhere or {})[edit.recording])
        elif isinstance(edit, (DropSpan, LeaveOut)):
            at = [i for i, one in enumerate(result) if one.name == edit.recording]
            if not at and edit.recording not in left_out:
                raise InputError(
                    f"a change names the recording {edit.recording!r}, not there", hint=ENTRY_HINT
                )
            if isinstance(edit, LeaveOut):
                left_out.add(edit.recording)
                result = [one for i, one in enumerate(result) if i not in at]
                continue
            for i in at:
                sight = result[i].sight
                inside = (sight.t_s >= edit.from_s) & (sight.t_s <= edit.to_s)
                result[i] = replace(result[i], sight=sight.without(inside, DROPPED))
    return tuple(result)


def edited_profile(
    profile: HorizonProfile,
    edits: Iterable[Edit],
    horizons: Mapping[str, HorizonProfile] | None = None,
) -> HorizonProfile:
    """The profile after the changes that concern it; every change is noted in its steps."""
    for edit in edits:
        if isinstance(edit, OverrideSector):
            width = float(wrap360(edit.to_azimuth_deg - edit.from_azimuth_deg)) or 360.0
            share = np.linspace(0.0, 1.0, max(2, int(width / 0.5) + 1))
            line = edit.from_elevation_deg + share * (
                edit.to_elevation_deg - edit.from_elevation_deg
            )
            patch = HorizonProfile(
                edit.from_azimuth_deg + share * min(width, 359.999),
                line,
                np.full(share.size, edit.standard_error_deg),
            )
            profile = patched(profile, patch, edit.from_azimuth_deg, edit.from_azimuth_deg + width)
        elif isinstance(edit, ImportHorizon):
            if edit.source not in (horizons or {}):
                raise InputError(f"no horizon {edit.source!r} to import")
            patch = (horizons or {})[edit.source]
            start, end = edit.from_azimuth_deg, edit.to_azimuth_deg
            if not edit.only_unmeasured:
                profile = patched(profile, patch, start, end)
            else:
                for a, b in _unmeasured(profile, start, end):
                    profile = patched(profile, patch, a, b)
        profile = replace(profile, steps=(*profile.steps, str(edit)))
    return profile


def patched(
    profile: HorizonProfile, patch: HorizonProfile, from_deg: float, to_deg: float
) -> HorizonProfile:
    """One profile with a sector of another in it; the seams are vertical edges."""
    if to_deg - from_deg >= 360.0:
        return replace(
            patch,
            obstructions=patch.obstructions or profile.obstructions,
            heading_error_deg=max(profile.heading_error_deg, patch.heading_error_deg),
            level_error_deg=max(profile.level_error_deg, patch.level_error_deg),
            steps=profile.steps,
        )
    start, end = float(wrap360(from_deg)), float(wrap360(to_deg))

    def errors(one: HorizonProfile) -> Any:
        blank = np.full(len(one), np.nan)
        return blank if one.standard_error_deg is None else one.standard_error_deg

    def read(one: HorizonProfile, azimuth: float, side: float) -> tuple[float, float]:
        beside = azimuth + side * 1e-7
        return (
            float(one.elevation_at(beside, unmeasured_deg=np.nan)),
            float(interpolate_azimuthal(beside, one.azimuth_deg, np.nan_to_num(errors(one)))),
        )

    def strictly(one: HorizonProfile, inside: bool) -> Any:
        within = in_sector(one.azimuth_deg, start, end)
        at_seam = (one.azimuth_deg == start) | (one.azimuth_deg == end)
        return (within if inside else ~within) & ~at_seam

    keep, take = strictly(profile, False), strictly(patch, True)
    seams = [
        (start, *read(profile, start, -1.0)),
        (start, *read(patch, start, 1.0)),
        (end, *read(patch, end, -1.0)),
        (end, *read(profile, end, 1.0)),
    ]
    azimuth = np.concatenate([profile.azimuth_deg[keep], patch.azimuth_deg[take],
                              [s[0] for s in seams]])  # fmt: skip
    elevation = np.concatenate([profile.elevation_deg[keep], patch.elevation_deg[take],
                                [s[1] for s in seams]])  # fmt: skip
    error = np.concatenate([errors(profile)[keep], errors(patch)[take], [s[2] for s in seams]])
    measured = np.concatenate([profile.known[keep], patch.known[take],
                               np.isfinite([s[1] for s in seams])])  # fmt: skip
    return replace(
        profile,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        standard_error_deg=floats(error),
        measured=measured,
        distance_m=None,
        obstructions=combined([*profile.obstructions, *patch.obstructions]),
    )


def _unmeasured(
    profile: HorizonProfile, from_deg: float, to_deg: float
) -> list[tuple[float, float]]:
    """Gaps of a profile within a sector: from the last measured node to the next one."""
    known = profile.known
    if known.all():
        return []
    if not known.any():
        return [(from_deg, to_deg)]
    azimuth = profile.azimuth_deg
    starts = np.flatnonzero(known & ~np.roll(known, -1))
    gaps: list[tuple[float, float]] = []
    for i in starts.tolist():
        j = (i + 1) % len(azimuth)
        while not known[j]:
            j = (j + 1) % len(azimuth)
        a = float(azimuth[i])
        width = float(wrap360(azimuth[j] - a)) or 360.0
        if to_deg - from_deg >= 360.0:
            gaps.append((a, a + width))
            continue
        offset = float(wrap360(a - from_deg))
        low = 0.0 if offset + width > 360.0 else offset
        high = min(float(wrap360(offset + width)) or 360.0, to_deg - from_deg)
        if high > low:
            gaps.append((from_deg + low, from_deg + high))
    return gaps
