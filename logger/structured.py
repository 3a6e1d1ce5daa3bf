"""Plain data of a file as frozen records: every value of its type and within its limits.

The one reader of ``job.toml`` and of stored calibrations. A field's annotation says what it takes;
``Annotated`` adds limits, or a function that checks the value and may tidy it. A number without
limits of its own gets those of the unit in its name.
"""

from __future__ import annotations

import collections.abc
import datetime as dt
import difflib
import math
import re
import types
from collections.abc import Iterable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from logger.errors import InputError, UsageError

T = TypeVar("T")
YEARS = (1970, 2200)  # Of moments; a computer without a clock says 1970
LONGEST_SHOWN = 60


@dataclass(frozen=True)
class Within:
    """Limits of a number, or of how many things a list holds; both ends are allowed."""

    low: float
    high: float

    def __call__(self, value: Any) -> Any:
        """The value itself, if it lies within."""
        size = len(value) if isinstance(value, tuple) else value
        if not self.low <= size <= self.high:
            what = f"{size} things" if isinstance(value, tuple) else f"{size:g}"
            raise _WrongError(f"is {what}, outside {self.low:g} to {self.high:g}")
        return value


_BY_UNIT = tuple(
    (re.compile(pattern), Within(low, high))
    for pattern, low, high in (
        (r"latitude_deg$", -90.0, 90.0),
        (r"longitude_deg$", -180.0, 180.0),
        (r"elevation_deg$", -90.0, 90.0),
        (r"azimuth_deg$", 0.0, 360.0),
        (r"tilt_deg$", 0.0, 90.0),
        (r"(error|spread|ripple)(_95)?_deg$", 0.0, 180.0),
        (r"gap_deg$", 0.0, 360.0),
        (r"(index|collimation|pitch_offset)_deg$", -10.0, 10.0),  # what `fit_level` takes for true
        (r"_deg$", -360.0, 360.0),
        (r"altitude_m$", -500.0, 9000.0),
        (r"height_m$", 0.0, 1000.0),
        (r"(error|distance)_m$", 0.01, 100_000.0),
        (r"_m$", -100_000.0, 100_000.0),
        (r"_c$", -90.0, 90.0),
        (r"_kwp$", 0.001, 100_000.0),
        (r"_ut$", -1600.0, 1600.0),  # what a board can send
        (r"_g$", -16.0, 16.0),
        (r"_deg_s$", -4000.0, 4000.0),
        (r"", 0.0, 1e6),  # seconds, counts and shares
    )
)


class _WrongError(Exception):
    """What is wrong with a value, and what would do; its place is added on the way out."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what, self.hint = what, hint
        self.place: list[str | int] = []

    def sentence(self) -> str:
        """Such as "planes 2: tilt_deg is 95, outside 0 to 90"."""
        place = ""
        for part in self.place:
            place += f" {part + 1}" if isinstance(part, int) else f": {part}" if place else part
        joint = "" if not place else " " if self.what.startswith("is ") else ": "
        return f"{place}{joint}{self.what}"


def record_from(kind: type[T], plain: Any, where: str = "", *, complete: bool = False) -> T:
    """A record of that kind, a frozen dataclass, from what ``json`` or ``tomllib`` made of a file.

    ``complete`` refuses a missing key although the record has a default: for files that a program
    wrote. Raises InputError: the message names file, table, key and value, the hint what would do.
    """
    try:
        made: T = _record(kind, plain, complete)
    except _WrongError as error:
        raise InputError(error.sentence(), where, error.hint) from error
    return made


def value_from(kind: Any, plain: Any, name: str, where: str = "") -> Any:
    """One value of that kind; a number gets the limits of the unit in its name."""
    try:
        return _placed(name, kind, plain, name, False)
    except _WrongError as error:
        raise InputError(error.sentence(), where, error.hint) from error


def nearest(name: str, known: Iterable[str]) -> str:
    """The one of the known names that is most like it, else all of them."""
    names = {one.casefold(): one for one in known}
    close = difflib.get_close_matches(name.strip().casefold(), names, n=1, cutoff=0.6)
    return names[close[0]] if close else ", ".join(names.values())


def one_of(name: str, known: Iterable[str], otherwise: str, hint: str = "") -> str:
    """The name itself, if it is known; UsageError tells the nearest."""
    names = list(known)
    if name not in names:
        raise UsageError(f"{otherwise} {name!r}", hint=nearest(name, names) or hint)
    return name


def _record(kind: Any, plain: Any, complete: bool) -> Any:
    if not isinstance(plain, dict):
        raise _WrongError(f"is {_shown(plain)}, not a table of keys")
    hints = _hints_of(kind)
    known = {one.name: one for one in fields(kind)}
    for key in plain:
        if key not in known:
            raise _WrongError(f"there is no key {_shown(key)} here", nearest(str(key), known))
    values = {}
    for name, one in known.items():
        if name in plain:
            values[name] = _placed(name, hints[name], plain[name], name, complete)
        elif complete or (one.default is MISSING and one.default_factory is MISSING):
            missing = _WrongError("is missing", _wanted(hints[name], name))
            missing.place = [name]
            raise missing
    try:
        return kind(**values)
    except UsageError as error:
        raise _WrongError(str(error), error.hint) from error


@cache
def _hints_of(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _placed(place: str | int, kind: Any, value: Any, name: str, complete: bool) -> Any:
    """A value of the kind that passes the checks of its annotation, or of its unit."""
    optional = get_origin(kind) in (Union, types.UnionType)
    if optional and value is None:
        return None
    bare, checks = _parts(get_args(kind)[0] if optional else kind, name)
    try:
        found = _typed(bare, value, name, complete)
        for check in checks:
            found = check(found)
        return found
    except UsageError as error:
        wrong = _WrongError(str(error), error.hint)
    except _WrongError as error:
        wrong = error
    wrong.place.insert(0, place)
    wrong.hint = wrong.hint or _wanted(kind, name)
    raise wrong


def _parts(kind: Any, name: str) -> tuple[Any, tuple[Any, ...]]:
    """The bare kind and its checks."""
    checks: tuple[Any, ...] = ()
    if get_origin(kind) is Annotated:
        kind, *more = get_args(kind)
        checks = tuple(more)
    if kind in (float, int) and not checks:
        checks = (next(limits for pattern, limits in _BY_UNIT if pattern.search(name)),)
    return kind, checks


def _typed(kind: Any, value: Any, name: str, complete: bool) -> Any:
    origin, inner = get_origin(kind), get_args(kind)
    if kind is Any:
        return value
    if is_dataclass(kind):
        return _record(kind, value, complete)
    if origin is tuple and isinstance(value, (list, tuple)):
        kinds = inner[:1] * len(value) if inner[-1] is ... else inner
        if len(kinds) != len(value):
            raise _WrongError(f"is a list of {len(value)}", f"a list of {len(kinds)}")
        pairs = enumerate(zip(kinds, value, strict=True))
        return tuple(_placed(i, one, each, name, complete) for i, (one, each) in pairs)
    if origin is collections.abc.Mapping and isinstance(value, dict):
        return {key: _placed(key, inner[1], each, key, complete) for key, each in value.items()}
    if origin is Literal and value in inner:
        return value
    if kind is dt.datetime:
        return _moment(value)
    if kind in (float, int):
        return _number(kind, value)
    if isinstance(kind, type) and isinstance(value, kind):
        return value
    raise _WrongError(f"is {_shown(value)}")


def _number(kind: type[float], value: Any) -> float:
    allowed = (int, float) if kind is float else int
    if isinstance(value, bool) or not isinstance(value, allowed):
        raise _WrongError(f"is {_shown(value)}")
    try:
        number = kind(value)
    except OverflowError:  # a whole number of hundreds of digits
        number = math.inf
    if not math.isfinite(number):
        raise _WrongError("is not a finite number")
    return number


def _moment(value: Any) -> dt.datetime:
    """A moment in UTC, from a date and time of TOML or its text."""
    try:
        moment = dt.datetime.fromisoformat(value) if isinstance(value, str) else value
        if isinstance(moment, dt.datetime) and YEARS[0] <= moment.year <= YEARS[1]:
            moment = moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
            return moment.astimezone(dt.UTC)
    except ValueError:
        pass
    raise _WrongError(f"is {_shown(value)}")


def _shown(value: Any) -> str:
    if isinstance(value, (dict, list)):
        return "a table" if isinstance(value, dict) else f"a list of {len(value)}"
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def _wanted(kind: Any, name: str) -> str:
    """What would do, for a hint."""
    kind, checks = _parts(kind, name)
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return _wanted(inner[0], name) + ", or leave the key out"
    if origin is Literal:
        return "one of " + ", ".join(map(str, inner))
    if origin is tuple:
        return "a list" if inner[-1] is ... else f"a list of {len(inner)}"
    if kind is dt.datetime:
        return f"a date and time of the years {YEARS[0]} to {YEARS[1]}, as 2026-05-14T08:12:31Z"
    words = {str: "text in quotes", bool: "true or false", int: "a whole number", float: "a number"}
    limits = [f" from {c.low:g} to {c.high:g}" for c in checks if isinstance(c, Within)]
    return words.get(kind, f"keys under [{name}]") + "".join(limits)


def sha256_text(text: str) -> str:
    """A hash as text."""
    if not re.fullmatch("[0-9a-f]{64}", text):
        raise UsageError("is no SHA-256", hint="64 digits and letters a to f")
    return text


def said(text: str) -> str:
    """A text that somebody must have given."""
    if not text.strip():
        raise UsageError("is empty")
    return text.strip()


def utc_text(moment: dt.datetime, timespec: str = "seconds") -> str:
    """A moment as files bear it: UTC, ISO 8601 with Z."""
    return moment.astimezone(dt.UTC).isoformat(timespec=timespec).replace("+00:00", "Z")
