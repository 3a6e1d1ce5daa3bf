"""Make docs/reference/commands.md and settings.md: ``python tools/make_reference.py [--check]``.

Commands and options come from the command line itself, settings from `logger.settings`.
``--check`` writes nothing and tells which pages are stale.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path

import click

from logger.cli import COMMANDS
from logger.settings import Settings, written

PAGES = Path(__file__).parents[1] / "docs" / "reference"
MADE = "<!-- Made from the code by `python tools/make_reference.py`; do not edit. -->"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true")
    stale = write(pages(), check=parser.parse_args().check)
    if stale:
        sys.exit("stale, run python tools/make_reference.py: " + ", ".join(stale))


def write(made: Mapping[str, str], *, check: bool) -> list[str]:
    """Write what differs from the files; with `check` only name it."""
    stale = [
        name
        for name, text in made.items()
        if not (PAGES / name).exists() or (PAGES / name).read_text(encoding="utf-8") != text
    ]
    if check:
        return stale
    for name in stale:
        (PAGES / name).write_text(made[name], encoding="utf-8", newline="\n")
    return []


def pages() -> dict[str, str]:
    """Every page that is made, by its file name."""
    return {"commands.md": commands_page(), "settings.md": settings_page()}


def page(title: str, *parts: str) -> str:
    return "\n\n".join([MADE, f"# {title}", *(part.strip("\n") for part in parts)]) + "\n"


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    lines = [list(head)]
    lines.append(["---"] * len(lines[0]))
    lines += [[cell.replace("|", "\\|").replace("\n", " ") for cell in row] for row in rows]
    return "\n".join("| " + " | ".join(row) + " |" for row in lines)


def commands_page() -> str:
    parts = [
        "`horizon-logger COMMAND --help` says the same on the spot. Every command that computes "
        "takes `--json FILE`; with `-` the result goes to standard output and nothing else does. "
        "Progress, prompts and warnings go to standard error.",
        table(("exit code", "meaning"), EXIT_CODES),
    ]
    for name in COMMANDS:
        command = importlib.import_module(f"logger.cli.{name}").command
        parts += command_parts(f"horizon-logger {name}", command)
    return page("Commands", *parts)


EXIT_CODES = (
    ("0", "done, and fit for use"),
    ("1", "an unforeseen fault: a bug"),
    ("2", "wrong usage"),
    ("3", "an input or a device could not be read"),
    ("4", "done, but a check failed; it is named on standard error"),
    ("130", "interrupted by Ctrl-C, where that does not end a sweep or a recording"),
)


def command_parts(name: str, command: click.Command) -> Iterator[str]:
    arguments = [p for p in command.params if isinstance(p, click.Argument)]
    words = [argument_words(a) for a in arguments]
    if isinstance(command, click.Group):
        words.append("COMMAND")
    yield f"## {name}"
    yield f"`{' '.join([name, *words])}`"
    yield dedented(command.help or "")
    options = [p for p in command.params if isinstance(p, click.Option) and not p.hidden]
    if options:
        yield table(
            ("option", "value", "meaning"),
            (
                (
                    ", ".join(f"`{o}`" for o in (*option.opts, *option.secondary_opts)),
                    value_words(option),
                    meaning_words(option),
                )
                for option in options
            ),
        )
    if isinstance(command, click.Group):
        for inner in command.commands:
            yield from command_parts(f"{name} {inner}", command.commands[inner])


def argument_words(argument: click.Argument) -> str:
    word = argument.metavar or (argument.name or "").upper()
    return word if argument.required else f"[{word}]"


def value_words(option: click.Option) -> str:
    if option.is_flag:
        return ""
    if isinstance(option.type, click.Choice):
        return " or ".join(f"`{c}`" for c in option.type.choices)
    if word := option.metavar or getattr(option.type, "metavar", None):
        return f"`{word}`"
    if isinstance(option.type, click.DateTime):
        return "`YYYY-MM-DD`"
    if isinstance(option.type, click.Path):
        return "`FOLDER`" if not option.type.file_okay else "`FILE`"
    return {"float": "number", "integer": "whole number"}.get(
        option.type.name.removesuffix(" range"), option.type.name
    )


def meaning_words(option: click.Option) -> str:
    text = " ".join((option.help or "").split())
    if option.required:
        text += " Required."
    elif option.show_default and option.default not in (None, False):
        text += f" [default: {option.default}]"
    return text


def dedented(text: str) -> str:
    return "\n".join(line.strip() for line in text.replace("\b", "").splitlines())


def settings_page() -> str:
    rows = []
    for one in fields(Settings):
        limits, choices = one.metadata["limits"], one.metadata.get("choices")
        allowed = " to ".join(f"{x:g}" for x in limits) if limits else ", ".join(choices or ())
        default = written(one.default)
        rows.append(
            (f"`{one.name}`", default, allowed, one.metadata["unit"], one.metadata["meaning"])
        )
    return page(
        "Settings",
        "What decides a figure beside the recordings, the sky and the planes. "
        "`horizon-logger settings JOB NAME=VALUE` keeps a setting in the job; `--set NAME=VALUE` "
        "on a command that works figures out changes it for that once. Lists are written with "
        "commas, and `none` where nothing is set. Settings travel with every result.",
        table(("name", "default", "allowed", "unit", "meaning"), rows),
    )


if __name__ == "__main__":
    main()
