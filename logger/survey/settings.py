"""Every setting of a result by its name, ``room.name``: what it means, and how to change it.

The rooms' frozen dataclasses are the one place where a setting stands; names, defaults and units
are read from them and from their docstrings.
"""

from __future__ import annotations

import difflib
import math
import re
import sys
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

from logger.errors import UsageError
from logger.settings import Settings, changed


@dataclass(frozen=True)
class OrientationSettings:
    """Those of `Settings` that orientation takes, until a replay takes `Settings` itself."""

    use_gyro: bool = Settings.use_gyro
    disturbance_share: float = Settings.disturbance_share
    disturbance_dip_deg: float = Settings.disturbance_dip_deg


@dataclass(frozen=True)
class HorizonSettings:
    """Those that the horizon takes."""

    tracing_bias_deg: float = Settings.tracing_bias_deg
    tremor_deg: float = Settings.tremor_deg


ROOMS: Mapping[str, type[Any]] = {
    "orientation": OrientationSettings,
    "horizon": HorizonSettings,
}

OF_ACCESS = (
    *("year", "solar_window", "reflectance", "transposition", "turbidity", "draws", "seed"),
    *("temperature_coefficient", "system_losses", "inverter_efficiency", "dc_ac_ratio"),
)
"""Settings of the calculator; they go by their plain names."""

YES, NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")
NOTHING = "none"


@dataclass(frozen=True)
class AllSettings:
    """The settings of every room that a replay goes through."""

    orientation: OrientationSettings = field(default_factory=OrientationSettings)
    horizon: HorizonSettings = field(default_factory=HorizonSettings)
    access: Settings = field(default_factory=Settings)


@dataclass(frozen=True)
class Setting:
    """One setting, as the reference shows it."""

    name: str  # ``room.name``, or ``room.group.name``
    default: Any
    unit: str  # Empty for a share, a count, a name or a yes or no
    meaning: str


def all_settings() -> list[Setting]:
    """Every setting that a replay can be given, room by room."""
    flat = [
        Setting(f.name, f.default, f.metadata["unit"], f.metadata["meaning"] + ".")
        for f in fields(Settings)
        if f.name in OF_ACCESS
    ]
    return [s for room in ROOMS for s in settings_of_room(room, ROOMS[room])] + flat


def setting_names() -> list[str]:
    """The names that `settings_with` takes."""
    return [setting.name for setting in all_settings()]


def settings_of_room(room: str, record: type[Any]) -> list[Setting]:
    """The settings of one room's dataclass, those of the dataclasses in it by dotted names."""
    told = parameters_of(record)
    default = record()
    found: list[Setting] = []
    for one in fields(record):
        value, name = getattr(default, one.name), f"{room}.{one.name}"
        if is_dataclass(value) and not isinstance(value, type):
            found += settings_of_room(name, type(value))
            continue
        meaning, unit = told.get(one.name, ("", _unit_of(one.name)))
        found.append(Setting(name, value, unit, meaning))
    return found


def settings_with(changes: Mapping[str, str], base: AllSettings | None = None) -> AllSettings:
    """Settings with some of them changed by name."""
    settings = base or AllSettings()
    # What belongs together is set together: one end of the window may only fit with the other.
    for room in ROOMS:
        own = {n: v for n, v in changes.items() if n.partition(".")[0] == room}
        if own:
            tree: dict[str, Any] = {}
            for name, text in own.items():
                _plant(tree, name.split(".")[1:], name, text)
            settings = replace(settings, **{room: _changed(getattr(settings, room), tree, room)})
    for name in changes:
        if name.partition(".")[0] not in ROOMS and name not in OF_ACCESS:
            raise _unknown(name)
    flat = {n: v for n, v in changes.items() if n in OF_ACCESS}
    return replace(settings, access=changed(settings.access, flat))


def _plant(tree: dict[str, Any], path: list[str], name: str, text: str) -> None:
    if not path or not all(path):
        raise _unknown(name)
    for step in path[:-1]:
        tree = tree.setdefault(step, {})
        if not isinstance(tree, dict):
            raise UsageError(f"{name} is given twice, as a whole and in part")
    if path[-1] in tree:
        raise UsageError(f"{name} is given twice, as a whole and in part")
    tree[path[-1]] = text


def _changed(record: Any, tree: Mapping[str, Any], name: str) -> Any:
    known = {f.name for f in fields(record)}
    hints = typing.get_type_hints(type(record))
    values: dict[str, Any] = {}
    for key, text in tree.items():
        full = f"{name}.{key}"
        if key not in known:
            raise _unknown(full)
        old = getattr(record, key)
        if isinstance(text, dict):
            if not is_dataclass(old):
                raise _unknown(f"{full}.{next(iter(text))}")
            values[key] = _changed(old, text, full)
        elif is_dataclass(old):
            values[key] = _group(old, text, full)
        else:
            values[key] = _value(text, hints[key], full)
    try:
        return replace(record, **values)
    except UsageError as error:
        if len(tree) == 1:
            raise UsageError(error.what, f"{name}.{next(iter(tree))}", error.hint) from error
        raise


def _group(record: Any, text: str, name: str) -> Any:
    parts, known = text.split(","), fields(record)
    if len(parts) != len(known):
        raise UsageError(
            f"{text!r} holds {len(parts)} values, not {len(known)}: "
            + ", ".join(f.name for f in known),
            name,
        )
    tree = {f.name: part.strip() for f, part in zip(known, parts, strict=True)}
    return _changed(record, tree, name)


def _value(text: str, hint: Any, name: str) -> Any:
    options = typing.get_args(hint) if isinstance(hint, types.UnionType) else (hint,)
    if type(None) in options and text.lower() == NOTHING:
        return None
    if str in options:
        return text
    if bool in options:
        if text.lower() in YES:
            return True
        if text.lower() in NO:
            return False
        raise UsageError(f"{text!r} is neither yes nor no", name)
    numbers = [_number(part, name, whole=int in options) for part in text.split(",")]
    listed = any(typing.get_origin(option) is tuple for option in options)
    if len(numbers) == 1 and (float in options or int in options):
        return numbers[0]
    if not listed or len(numbers) != 12:
        wanted = "1 or 12" if listed and float in options else "12" if listed else "1"
        raise UsageError(f"{text!r} holds {len(numbers)} numbers, not {wanted}", name)
    return tuple(numbers)


def _number(text: str, name: str, *, whole: bool) -> float | int:
    try:
        number = int(text) if whole else float(text)
    except ValueError as error:
        kind = "a whole number" if whole else "a number"
        raise UsageError(f"{text.strip()!r} is not {kind}", name) from error
    if not math.isfinite(number):
        raise UsageError(f"{text.strip()!r} is no finite number", name)
    return number


def _unknown(name: str) -> UsageError:
    near = difflib.get_close_matches(name, setting_names(), n=3, cutoff=0.5)
    return UsageError(
        f"there is no setting {name!r}",
        hint=" or ".join(near) if near else "a name such as horizon.tremor_deg or draws",
    )


def _with_choices(record: type[Any]) -> str:
    """The docstring, with the values of the module's constants that it names."""
    module = vars(sys.modules[record.__module__])

    def values(found: re.Match[str]) -> str:
        known = module.get(found.group(1))
        return ", ".join(map(str, known)) if known else found.group(0)

    return re.sub(r"`(?:[\w.]+\.)?([A-Z][A-Z_]+)`", values, record.__doc__ or "")


def parameters_of(record: type[Any]) -> dict[str, tuple[str, str]]:
    """Meaning and unit of each parameter of a class, from its numpy-style docstring."""
    lines = iter(_with_choices(record).splitlines())
    for line in lines:
        if line.strip() == "Parameters":
            next(lines)
            break
    found: dict[str, tuple[str, str]] = {}
    for names, text in _paragraphs(lines):
        units = re.findall(r"\[([^\]]+)\]", text)
        meaning = re.sub(r"[,\s]*(\[[^\]]+\][,\s]*)+$", "", text).strip()
        for k, name in enumerate(names):
            own = units[k] if len(units) == len(names) else _unit_of(name)
            found[name] = meaning, own
    return found


def _paragraphs(lines: Iterator[str]) -> Iterator[tuple[list[str], str]]:
    names: list[str] = []
    text: list[str] = []
    for line in lines:
        if set(line.strip()) == {"-"} or line.strip() == "Raises":
            break
        # A parameter stands four columns in, what is said of it eight.
        head = re.match(r" {4}(\w+(?:, \w+)*)(?: : .*)?$", line)
        if head:
            if names:
                yield names, " ".join(text)
            names, text = head.group(1).split(", "), []
        elif line.strip():
            text.append(line.strip())
    if names:
        yield names, " ".join(text)


_ENDINGS = {
    "_deg_per_min": "deg/min",
    "_deg_s": "deg/s",
    "_deg": "deg",
    "_ut": "uT",
    "_g": "g",
    "_s": "s",
    "_m": "m",
    "_ms": "m/s",
    "_c": "degC",
    "_hour": "h",
}


def _unit_of(name: str) -> str:
    return next((unit for ending, unit in _ENDINGS.items() if name.endswith(ending)), "")
