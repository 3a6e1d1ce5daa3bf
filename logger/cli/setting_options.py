"""Options that change a setting by its name; which settings there are stands in the rooms."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

CHANGES = "logger.settings"


@dataclass(frozen=True)
class Shortcut:
    """An option for one setting."""

    flag: str
    setting: str  # Its name, as ``--set`` takes it
    default: str  # As the setting's own; shown in the help. A test holds the two together.
    help: str
    metavar: str = "VALUE"
    choices: tuple[str, ...] = ()  # None: any text that the setting takes
    flag_value: str = ""  # Of an option without a value


OF_THE_SKY = (
    Shortcut("--year", "year", "2026", "Of the sun's positions.", "YEAR"),
    Shortcut(
        "--reflectance",
        "reflectance",
        "0.2",
        "Of the ground: one number, or twelve by month (snow).",
        "NUMBERS",
    ),
    Shortcut(
        "--transposition",
        "transposition",
        "haydavies",
        "How sky diffuse reaches a tilted plane.",
        choices=("haydavies", "isotropic", "reindl"),
    ),
    Shortcut(
        "--turbidity",
        "turbidity",
        "none",
        "Linke turbidity of the year; none takes a table by month and place.",
        "NUMBER",
    ),
    Shortcut(
        "--solar-window", "solar_window", "9,15", "Solar hours that should be clear.", "FROM,TO"
    ),
    Shortcut("--draws", "draws", "1000", "Horizons drawn for low and high.", "NUMBER"),
    Shortcut("--seed", "seed", "1", "Of the draws.", "NUMBER"),
)

OF_THE_SWEEP = (
    Shortcut(
        "--no-gyro",
        "orientation.use_gyro",
        "yes",
        "Leave the angular rate out, where the stream has it.",
        flag_value="no",
    ),
)


def setting_options(*shortcuts: Shortcut) -> Callable[[F], F]:
    """--set, and an option for each of some settings.

    What is given is told by `changed_settings`; the command does not take it as an argument.
    """

    def decorate(function: F) -> F:
        function = click.option(
            "--set",
            "settings",
            multiple=True,
            metavar="NAME=VALUE",
            expose_value=False,
            callback=_named,
            help="Any setting by its name, such as horizon.tremor_deg=0.5; may be given again. "
            "docs/reference/settings.md lists them.",
        )(function)
        for shortcut in reversed(shortcuts):
            function = _option(shortcut)(function)
        return function

    return decorate


def _option(shortcut: Shortcut) -> Callable[[F], F]:
    def put(context: click.Context, parameter: click.Parameter, value: Any) -> None:
        if value:
            text = shortcut.flag_value or str(value)
            _refuse_unsound(shortcut, text)
            _put(context, shortcut.setting, text)

    more: dict[str, Any]
    if shortcut.flag_value:
        more = {"is_flag": True, "help": shortcut.help}
    else:
        more = {
            "type": click.Choice(shortcut.choices) if shortcut.choices else str,
            "metavar": None if shortcut.choices else shortcut.metavar,
            "help": f"{shortcut.help}  [default: {shortcut.default}]",
        }
    name = shortcut.flag.removeprefix("--").replace("-", "_")
    return click.option(shortcut.flag, name, expose_value=False, callback=put, **more)


def _refuse_unsound(shortcut: Shortcut, text: str) -> None:
    """Refuse a value by the name of its option, with one that would do."""
    if (what := _wrong(shortcut, text)) is None:
        return
    likely = [text.replace("-", ",")]
    with contextlib.suppress(ValueError):
        if "0 to 1" in what and 10 <= float(text) <= 100:
            likely.append(f"{float(text) / 100:g}")  # given in percent
    good = [value for value in likely if _wrong(shortcut, value) is None]
    if shortcut.default != "none":
        good.append(shortcut.default)
    raise click.BadParameter(
        what + (f"; such as {shortcut.flag} {good[0]}" if good else ""), param_hint=shortcut.flag
    )


def _wrong(shortcut: Shortcut, text: str) -> str | None:
    """What is wrong with a value; None where nothing is."""
    from logger.errors import UsageError
    from logger.survey.settings import settings_with

    try:
        settings_with({shortcut.setting: text})
    except UsageError as error:
        return error.what
    return None


def _named(context: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> None:
    for text in values:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not NAME=VALUE", param_hint="--set")
        _put(context, name.strip(), value.strip())


def _put(context: click.Context, name: str, value: str) -> None:
    given: dict[str, str] = context.meta.setdefault(CHANGES, {})
    if given.get(name, value) != value:
        raise click.UsageError(f"{name} is given twice, as {given[name]} and as {value}")
    given[name] = value


def changed_settings() -> dict[str, str]:
    """The settings given on the command line: name to value."""
    return dict(click.get_current_context().meta.get(CHANGES, {}))
