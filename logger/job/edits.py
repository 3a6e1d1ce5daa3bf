"""What the office changes without touching a recording: entries of the job, each with who and why.

An edit is never altered or removed: a later one goes before an earlier one. Recordings and
horizon files that an edit names stay as they are.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from logger.job.tables import Table

DROP_SPAN = "drop span"
DROP_RECORDING = "drop recording"
OVERRIDE_SECTOR = "override sector"
MERGE_POINT = "merge point"
USE_HORIZON = "use horizon"

NEEDED: dict[str, tuple[str, ...]] = {
    DROP_SPAN: ("recording", "from_s", "to_s"),
    DROP_RECORDING: ("recording",),
    OVERRIDE_SECTOR: ("from_azimuth_deg", "to_azimuth_deg", "elevation_deg"),
    MERGE_POINT: ("from_point",),
    USE_HORIZON: ("horizon",),
}
"""The actions, and which keys each needs beside `point`, `who`, `when` and `why`."""

_TEXTS = ("recording", "from_point", "horizon")
_NUMBERS = ("from_s", "to_s", "from_azimuth_deg", "to_azimuth_deg", "elevation_deg")


@dataclass(frozen=True)
class Edit:
    """One entry of ``[[edits]]``.

    Parameters
    ----------
    action : str
        One of `NEEDED`.
    point : str
        The point it changes.
    who, why : str
        Never empty.
    when : datetime
        With its time zone.
    recording : str
        File name of the recording to drop, whole or in part.
    from_s, to_s : float or None
        The span to drop, from the start of the recording. [s]
    from_azimuth_deg, to_azimuth_deg, elevation_deg : float or None
        A sector, clockwise, and the elevation it gets. [deg]
    from_point : str
        Whose recordings are taken as this point's too.
    horizon : str
        A horizon CSV beside ``job.toml``, taken where no recording of the point measured.
    """

    action: str
    point: str
    who: str
    when: dt.datetime
    why: str
    recording: str = ""
    from_s: float | None = None
    to_s: float | None = None
    from_azimuth_deg: float | None = None
    to_azimuth_deg: float | None = None
    elevation_deg: float | None = None
    from_point: str = ""
    horizon: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The keys of the entry, those that say nothing left out."""
        return {
            key: value
            for key in ("action", "point", *NEEDED[self.action], "who", "when", "why")
            if (value := getattr(self, key)) not in ("", None)
        }

    def in_words(self) -> str:
        """One line for the report."""
        what = {
            DROP_SPAN: f"{self.from_s} to {self.to_s} s of {self.recording} dropped",
            DROP_RECORDING: f"{self.recording} left out",
            OVERRIDE_SECTOR: f"{self.from_azimuth_deg} to {self.to_azimuth_deg}° set to "
            f"{self.elevation_deg}°",
            MERGE_POINT: f"recordings of {self.from_point} taken too",
            USE_HORIZON: f"{self.horizon} taken where nothing was measured",
        }[self.action]
        return f"{self.point}: {what} ({self.why}; {self.who}, {self.when:%Y-%m-%d})"


def edit_of(table: Table) -> Edit:
    """Read one entry.

    Parameters
    ----------
    table : Table

    Raises
    ------
    ValueError
        A key is missing or makes no sense.
    """
    action = table.one_of("action", tuple(NEEDED))
    for key in ("point", "who", "why", *(k for k in NEEDED[action] if k in _TEXTS)):
        if not table.text(key):
            raise ValueError(f"{table.where}: {key} is missing")
    for key in NEEDED[action]:
        if key in _NUMBERS:
            table.number(key)
    start, end = table.optional_number("from_s"), table.optional_number("to_s")
    if start is not None and end is not None and not 0 <= start < end:
        raise ValueError(f"{table.where}: from_s must be at least 0 and below to_s")
    elevation = table.optional_number("elevation_deg")
    if elevation is not None and not -90 <= elevation <= 90:
        raise ValueError(f"{table.where}: elevation_deg {elevation:g} is outside -90 to 90")
    return Edit(
        action=action,
        point=table.text("point"),
        who=table.text("who"),
        when=_moment(table),
        why=table.text("why"),
        recording=table.text("recording"),
        from_s=start,
        to_s=end,
        from_azimuth_deg=table.optional_number("from_azimuth_deg"),
        to_azimuth_deg=table.optional_number("to_azimuth_deg"),
        elevation_deg=elevation,
        from_point=table.text("from_point"),
        horizon=table.text("horizon"),
    )


def _moment(table: Table) -> dt.datetime:
    value = table.raw.get("when")
    if isinstance(value, str):
        try:
            value = dt.datetime.fromisoformat(value)
        except ValueError:
            value = None
    if not isinstance(value, dt.datetime):
        raise ValueError(
            f"{table.where}: when must be a date and time, such as 2026-05-14T08:12:31Z"
        )
    return value if value.tzinfo else value.replace(tzinfo=dt.UTC)
