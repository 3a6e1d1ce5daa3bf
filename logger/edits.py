"""Changes made to a point without touching a recording, as entries of the job.

Each says who made it, when and why. What each does to a sweep or a horizon: `horizon_fit.edits`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from logger.errors import InputError, UsageError
from logger.geometry import wrap360
from logger.structured import nearest, record_from, said, utc_text

ENTRY_HINT = "correct or remove its entry under [[edits]] in job.toml; edit undo removes the last"


def refuse_no_sector(from_deg: float, to_deg: float) -> None:
    """Raise UsageError where both ends are one azimuth: nothing can be meant, or all of it."""
    if float(wrap360(to_deg - from_deg)) == 0.0 and to_deg - from_deg != 360.0:
        what = f"{from_deg:g} to {to_deg:g}° is no sector"
        raise UsageError(what, hint="its two ends, clockwise; the whole circle is 0 to 360")


@dataclass(frozen=True, kw_only=True)
class Edit:
    """What all changes have in common."""

    kind: ClassVar[str]  # As the command is called
    point: str
    who: Annotated[str, said]
    when: dt.datetime  # UTC
    why: Annotated[str, said]  # One sentence

    told: ClassVar[str]  # The change itself, in words that take the entry's values

    def what(self) -> str:
        """The change itself, in words."""
        return self.told.format(**vars(self))

    def __str__(self) -> str:
        return f"{self.what()} ({self.who}, {utc_text(self.when)}: {self.why})"

    def as_dict(self) -> dict[str, Any]:
        """The entry as ``job.toml`` bears it."""
        own = {key: value for key, value in vars(self).items() if value not in (None, "")}
        return {"kind": self.kind, **own, "when": utc_text(self.when, "milliseconds")}


@dataclass(frozen=True, kw_only=True)
class ExcludeSpan(Edit):
    """Exclude a span of time or of azimuth from a recording, or of azimuth from all of a point."""

    kind: ClassVar[str] = "exclude-span"
    recording: str = ""  # File name; empty: every recording of the point
    # From the recording's start. [s]
    from_s: float | None = None
    to_s: float | None = None
    # As charts show it, clockwise. [deg]
    from_azimuth_deg: float | None = None
    to_azimuth_deg: float | None = None

    def __post_init__(self) -> None:
        span_s, span_deg = (self.from_s, self.to_s), (self.from_azimuth_deg, self.to_azimuth_deg)
        wanted = [span for span in (span_s, span_deg) if span != (None, None)]
        if len(wanted) != 1 or None in wanted[0]:
            raise UsageError(
                "a span needs a beginning and an end, of seconds or of azimuth",
                hint="from_s and to_s, or from_azimuth_deg and to_azimuth_deg",
            )
        if self.from_s is not None and self.to_s is not None:
            if not self.recording:
                raise UsageError("seconds are of one recording", hint="name the recording")
            if self.from_s >= self.to_s:
                raise UsageError(f"{self.to_s:g} s, the end, is not after {self.from_s:g} s")
        if self.from_azimuth_deg is not None and self.to_azimuth_deg is not None:
            refuse_no_sector(self.from_azimuth_deg, self.to_azimuth_deg)

    def what(self) -> str:
        """The change itself, in words."""
        if self.from_s is not None:
            return f"{self.recording}: {self.from_s:g} to {self.to_s:g} s excluded"
        span = f"{self.from_azimuth_deg:g} to {self.to_azimuth_deg:g}°"
        return f"{self.recording or 'every recording'}: {span} excluded"


@dataclass(frozen=True, kw_only=True)
class ExcludeSweep(Edit):
    """Exclude a whole recording."""

    kind: ClassVar[str] = "exclude-sweep"
    told: ClassVar[str] = "{recording} excluded"
    recording: str


@dataclass(frozen=True, kw_only=True)
class RemovePoint(Edit):
    """Exclude all recordings that a point has: it is no point until it is swept again."""

    kind: ClassVar[str] = "remove-point"
    recordings: tuple[str, ...]

    def what(self) -> str:
        """The change itself, in words."""
        return f"point removed, with {', '.join(self.recordings) or 'no recording'}"


@dataclass(frozen=True, kw_only=True)
class RenamePoint(Edit):
    """Tell that a point was called otherwise; its folders bear the new name already."""

    kind: ClassVar[str] = "rename-point"
    told: ClassVar[str] = "renamed from {was}"
    was: str


@dataclass(frozen=True, kw_only=True)
class SetSector(Edit):
    """Set the horizon of a sector, straight from one end to the other."""

    kind: ClassVar[str] = "set-sector"
    told: ClassVar[str] = (
        "{from_azimuth_deg:g} to {to_azimuth_deg:g}° set to "
        "{from_elevation_deg:g} to {to_elevation_deg:g}°"
    )
    from_azimuth_deg: float
    to_azimuth_deg: float
    from_elevation_deg: float
    to_elevation_deg: float
    standard_error_deg: float = 1.0  # How sure that is, 1 sigma. [deg]

    def __post_init__(self) -> None:
        refuse_no_sector(self.from_azimuth_deg, self.to_azimuth_deg)


KINDS: dict[str, type[Edit]] = {
    kind.kind: kind for kind in (ExcludeSpan, ExcludeSweep, RemovePoint, RenamePoint, SetSector)
}


def edit_from(plain: Any, where: str = "") -> Edit:
    """An edit from its entry; InputError names the key, its value and what would do."""
    if not isinstance(plain, Mapping):
        raise InputError("is not a table of keys", where, ENTRY_HINT)
    values = dict(plain)
    kind = str(values.pop("kind", ""))
    if kind not in KINDS:
        raise InputError(f"there is no kind of edit {kind!r}", where, nearest(kind, KINDS))
    return record_from(KINDS[kind], values, where)


def excluded(edits: Iterable[Edit]) -> frozenset[str]:
    """Names of the recordings that edits exclude as a whole."""
    names: set[str] = set()
    for edit in edits:
        if isinstance(edit, RemovePoint):
            names.update(edit.recordings)
        elif isinstance(edit, ExcludeSweep):
            names.add(edit.recording)
    return frozenset(names)
