"""What the office changes without touching a recording: entries of the job, each with who and why.

Entries are only ever appended, and the last one may be taken back. Which kinds there are, what each
needs and what it does is the horizon room's; here stands what all have in common.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from logger.job.tables import Table

COMMON = ("kind", "point", "who", "when", "why")


@dataclass(frozen=True)
class EditEntry:
    """One entry of ``[[edits]]``."""

    kind: str  # Of change, such as ``drop span``
    point: str  # The point it changes
    # Never empty; when is UTC, ISO 8601
    who: str
    when: str
    why: str
    what: Mapping[str, Any] = field(default_factory=dict)  # The kind's own keys

    def change(self) -> dict[str, Any]:
        """The change as the horizon room takes it: all but the point."""
        return {key: value for key, value in self.as_dict().items() if key != "point"}

    def as_dict(self) -> dict[str, Any]:
        """The keys of the entry."""
        return {
            "kind": self.kind,
            "point": self.point,
            **self.what,
            "who": self.who,
            "when": self.when,
            "why": self.why,
        }


def edit_entry(table: Table) -> EditEntry:
    """Read one entry."""
    for key in ("kind", "point", "who", "why"):
        if not table.text(key).strip():
            raise ValueError(f"{table.where}: {key} is missing")
    return EditEntry(
        table.text("kind"),
        table.text("point"),
        table.text("who"),
        _moment(table),
        table.text("why"),
        {key: value for key, value in table.raw.items() if key not in COMMON},
    )


def _moment(table: Table) -> str:
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
    return moment_text(value if value.tzinfo else value.replace(tzinfo=dt.UTC))


def moment_text(moment: dt.datetime) -> str:
    """A moment as an entry bears it: UTC to the second, with Z."""
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
