"""Tables of ``job.toml``, read key by key; every complaint names the table and the key."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from logger.errors import UsageError

T = TypeVar("T")


@dataclass(frozen=True)
class Table:
    """One table and how messages call it."""

    raw: dict[str, Any]
    where: str  # Such as "site" or "planes 2"

    @classmethod
    def named(cls, document: dict[str, Any], name: str) -> Table:
        """The table of that name; an empty one where there is none."""
        raw = document.get(name, {})
        if not isinstance(raw, dict):
            raise ValueError(f"{name} must be a table, headed [{name}]")
        return cls(raw, name)

    def told(self, make: Callable[[], T]) -> T:
        """What ``make`` makes; its complaint gets the table's name in front."""
        try:
            return make()
        except UsageError as error:
            raise ValueError(f"{self.where}: {error}") from error

    def text(self, key: str) -> str:
        """Text; empty where there is none."""
        value = self.raw.get(key, "")
        if not isinstance(value, str):
            raise ValueError(f"{self.where}: {key} must be text in quotes")
        return value

    def texts(self) -> dict[str, str]:
        """All keys as text."""
        return {key: str(value) for key, value in self.raw.items()}

    def optional_number(self, key: str) -> float | None:
        """Return a finite number or None."""
        value = self.raw.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError(f"{self.where}: {key} must be a number")
        try:
            number = float(value)
        except OverflowError:  # a whole number of hundreds of digits
            number = math.inf
        if not math.isfinite(number):
            raise ValueError(f"{self.where}: {key} must be a finite number")
        return number

    def number(self, key: str) -> float:
        """Return a finite number, which must be there."""
        value = self.optional_number(key)
        if value is None:
            raise ValueError(f"{self.where}: {key} is missing")
        return value

    def height(self, key: str) -> float | None:
        """Return a height above a surface, in metres, or None."""
        value = self.optional_number(key)
        if value is not None and not 0 <= value <= 1000:
            raise ValueError(f"{self.where}: {key} {value:g} is outside 0 to 1000 m")
        return value

    def one_of(self, key: str, allowed: tuple[str, ...], default: str = "") -> str:
        """Text that is one of a few."""
        value = self.text(key) or default
        if value not in allowed:
            raise ValueError(f"{self.where}: {key} {value!r} is none of {', '.join(allowed)}")
        return value


def tables(document: dict[str, Any], name: str) -> list[Table]:
    """The list of tables of that name; empty where there is none."""
    found = document.get(name, [])
    if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
        raise ValueError(f"{name} must be tables, each headed [[{name}]]")
    return [Table(raw, f"{name} {i}") for i, raw in enumerate(found, 1)]
