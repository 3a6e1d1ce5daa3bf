"""Make the pages under docs/reference from the code: ``python tools/make_reference.py [--check]``.

Commands and options come from the command line itself, settings from the rooms' dataclasses,
checks from the places that make them, formats from the records and from a result of the
shipped survey. ``--check`` writes nothing and tells which pages are stale.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import json
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import click

from logger.access import Plane, Rules
from logger.cli import COMMANDS
from logger.files import plain
from logger.horizon import OBSTRUCTION_KINDS
from logger.horizon_csv import COLUMNS
from logger.horizon_fit import edits
from logger.job import Job, Point, job_file, records
from logger.recording.records import LEAF_STATES, PURPOSES
from logger.recording.records import VERSION as RECORDING_VERSION
from logger.survey.again import point_again
from logger.survey.batch_file import SCHEMA as BATCH_SCHEMA
from logger.survey.demo import shipped_survey
from logger.survey.pipeline import SCHEMA as RESULT_SCHEMA
from logger.survey.settings import ROOMS, all_settings, parameters_of

ROOT = Path(__file__).parents[1]
PAGES = ROOT / "docs" / "reference"
MADE = "<!-- Made from the code by `python tools/make_reference.py`; do not edit. -->"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true")
    stale = write(pages(), check=parser.parse_args().check)
    if stale:
        sys.exit("stale, run python tools/make_reference.py: " + ", ".join(stale))


def write(made: Mapping[str, str], *, check: bool) -> list[str]:
    """Write what differs from the files; with `check` only name it."""
    stale = []
    for name, text in made.items():
        path = PAGES / name
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        if check:
            stale.append(name)
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
    return stale


def pages() -> dict[str, str]:
    """Every page by its file name."""
    return {
        "commands.md": commands_page(),
        "settings.md": settings_page(),
        "checks.md": checks_page(),
        "formats.md": formats_page(),
    }


def page(title: str, *parts: str) -> str:
    return "\n\n".join([MADE, f"# {title}", *(part.strip("\n") for part in parts)]) + "\n"


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    lines = [list(head)]
    lines.append(["---"] * len(lines[0]))
    lines += [[cell.replace("|", "\\|").replace("\n", " ") for cell in row] for row in rows]
    return "\n".join("| " + " | ".join(row) + " |" for row in lines)


# Commands


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
    ("4", "done, but a quality check failed; it is named on standard error"),
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
    if option.metavar:
        return f"`{option.metavar}`"
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


# Settings

ROOM_WORDS = {
    "orientation": "From samples to directions of the line of sight.",
    "horizon": "From directions to the skyline.",
    "access": "From the skyline to light, loss and their bounds.",
}


def settings_page() -> str:
    parts = [
        "Any of these can be changed at replay, for one recording, for a point or for a folder of "
        "jobs: `horizon-logger replay … --set NAME=VALUE`, any number of times. `assess` takes "
        "those of `access`. A value is a number, `yes` or `no`, a word, numbers with commas "
        "between them, or `none`; a group such as `access.window` takes its values in order "
        "(`--set access.window=8,16`). Settings travel with every result, under `settings`.",
        "Where a meaning begins with *the same* or *that*, the line above it says of what.",
    ]
    everything = all_settings()
    for room in ROOMS:
        own = [s for s in everything if s.name.startswith(f"{room}.")]
        parts += [f"## {room}", ROOM_WORDS[room], settings_table(own)]
    return page("Settings", *parts)


def settings_table(settings: Iterable[Any]) -> str:
    return table(
        ("name", "default", "unit", "meaning"),
        ((f"`{s.name}`", shown(s.default), s.unit, s.meaning) for s in settings),
    )


def shown(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


# Checks

CHECKS = {
    "recording whole": "Every record of the recording can be read. One that was cut short, a torn "
    "last line or a plain log is told but does not fail it.",
    "compass calibration": "There is one of this board and site, of the day, sound, and made in "
    "the same holder at much the same temperature.",
    "level calibration": "The same for the level; where it is made, the standard errors of index "
    "and collimation are small.",
    "bearing calibration": "The same for the bearing; where it is made, its sights agree.",
    "bearing beside the compass": "A bearing taken agrees with compass and declination: it is the "
    "right landmark, and the compass works there. The limit is this beside twice the combined "
    "standard errors where the compass was calibrated, else "
    "10.",
    "compass heading error": "The heading error expected of a compass calibration, 95 %.",
    "tumble coverage": "No direction of the board is far from one it was turned to.",
    "steady magnetic field while tumbling": "The corrected strength stays the same in every "
    "direction.",
    "magnetic field at the calibration": "Strength and dip where it was calibrated are those of "
    "the model.",
    "magnetic field against the model": "Strength and dip during a sweep are those of the model, "
    "within 20 % and 6°.",
    "magnetic disturbance": "Few samples of a sweep were dropped because the magnetic field was "
    "not that of the calibration.",
    "board calibrated": "The board does not itself ask for a calibration.",
    "deviation curve": "The residuals of a deviation curve are small and its headings all round.",
    "closing target drift": "The closing target stands where it stood when the sweep began.",
    "closing target bearing": "The closing target stands at its known bearing.",
    "heading steady": "The heading drifted little from pass to pass.",
    "passes agree": "Where two passes saw the skyline they saw the same, as far as the sun goes.",
    "sun-crossed sectors measured": "The skyline was measured wherever the sun passes.",
    "sun-crossed sectors seen twice": "It was seen in two passes there.",
    "corrected to module height": "The skyline can be carried to the module's height: "
    "recordings from one height, or distances known where they matter.",
    "plane measured": "Tilt and azimuth of a plane laid out with the board are good enough.",
    "horizon points close enough": "A horizon from a file has points close enough to be a skyline, "
    "wherever the sun passes (common practice, no source).",
    "weather from near the site": "A weather file was measured near the site (common practice, no "
    "source).",
    "weather from the site's height": "And at much the same height, so that air, cloud and fog are "
    "the site's (common practice, no source).",
    "compass usable here": "The horizontal field at this place is strong enough for a compass.",
}


@dataclass(frozen=True)
class FoundGate:
    """A check as the code makes it."""

    name: str
    limit: str
    unit: str
    where: str


def checks_page() -> str:
    rows = [
        (check.name, explained(check), check.limit, check.unit, f"`{check.where}`")
        for check in found_checks()
    ]
    return page(
        "Checks",
        "What a result must satisfy to be fit for use. A check that fails is named on standard "
        "error with what to do, stands in the result under `quality`, and makes the exit code 4; "
        "the figures are printed all the same.",
        table(("check", "passes when", "limit", "unit", "made in"), rows),
        "A limit given as a name is a [setting](settings.md).",
    )


def explained(check: FoundGate) -> str:
    if check.name not in CHECKS:
        sys.exit(
            f"{check.where}: say in CHECKS of tools/make_reference.py when {check.name!r} passes"
        )
    return CHECKS[check.name]


def found_checks() -> list[FoundGate]:
    """Every check that the code makes, in the order of the rooms."""
    found: dict[str, FoundGate] = {}
    for path in sorted((ROOT / "logger").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        where = path.relative_to(ROOT).as_posix()
        module = where.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
        constants = constants_of(tree, module) if "Check(" in path.read_text("utf-8") else {}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and called(node) and node.args:
                for name in check_names(node.args[0], constants):
                    check = FoundGate(name, *limit_of(node, constants), where)
                    if name not in found or (check.limit and not found[name].limit):
                        found[name] = check
    return list(found.values())


def constants_of(tree: ast.Module, module: str) -> dict[str, Any]:
    """What plain names stand for: the module's own and imported constants, and local limits."""
    found: dict[str, Any] = {
        target.id: node.value.value if isinstance(node.value, ast.Constant) else node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and isinstance(node.value, (ast.Constant, ast.Attribute))
        for target in node.targets
        if isinstance(target, ast.Name) and "limit" in target.id
    }
    names = vars(importlib.import_module(module))
    found |= {n: v for n, v in names.items() if n.isupper() and isinstance(v, (str, int, float))}
    return found


def called(node: ast.Call) -> bool:
    function = node.func
    name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
    return name == "Check" or name.endswith("_check")


def check_names(node: ast.expr, constants: Mapping[str, Any]) -> list[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.Name) and node.id in constants:
        return [str(constants[node.id])]
    if isinstance(node, ast.JoinedStr):
        end = "".join(v.value for v in node.values if isinstance(v, ast.Constant))
        return [f"{purpose}{end}" for purpose in ("compass", "level", "bearing")]
    return []


def limit_of(node: ast.Call, constants: Mapping[str, Any]) -> tuple[str, str]:
    """The limit as a setting's name or a number, and the unit."""
    helper = not (isinstance(node.func, ast.Name) and node.func.id == "Check")
    if helper or len(node.args) < 5:
        limits = [a.id for a in node.args[1:] if isinstance(a, ast.Name) and "LIMIT" in a.id]
        return (f"{constants[limits[0]]:g}", "deg") if limits else ("", "")
    limit, unit = node.args[3:5]
    value: Any = limit
    if isinstance(limit, ast.Name):
        value = constants.get(limit.id, "")
    if isinstance(value, ast.Constant):
        value = value.value
    if isinstance(value, ast.Attribute):
        value = setting_called(value.attr)
    words = f"{value:g}" if isinstance(value, (int, float)) else value if value else ""
    return words, str(unit.value) if isinstance(unit, ast.Constant) else ""


def setting_called(name: str) -> str:
    known = all_settings()
    for setting in known:
        if setting.name.endswith(f".{name}"):
            return f"`{setting.name}`, {shown(setting.default)}"
    return name


# Formats

HEADER_KEYS = (
    ("started", "UTC, ISO 8601 with Z", "start of the recording"),
    ("point", "text", "where; in a job the name of the point's folder"),
    ("latitude, longitude", "deg", "of the site; north and east positive"),
    ("altitude_m", "m", "of the site, above sea level"),
    ("purpose", ", ".join(PURPOSES), "what was recorded"),
    ("sight_height_m, module_height_m", "m", "above the same surface"),
    ("observer", "text", "who held the board"),
    ("board", "text", "which board, where it does not tell itself"),
    ("holder", "text", "what the board was mounted in"),
    ("leaf", ", ".join(LEAF_STATES), "state of the trees"),
    ("snow", "text", "snow on the ground"),
    ("stance", "text", "what the observer stood on"),
    ("continues", "text", "the recording that this one goes on from"),
)


def formats_page() -> str:
    result = shipped_result()
    return page(
        "Formats",
        "## A recording, `*.sweep`",
        f"UTF-8 text with LF line ends. The first line is `horizon-logger recording "
        f"{RECORDING_VERSION}`; then one record a line, only ever appended to.",
        table(
            ("line", "what follows"),
            (
                ("`h`", "JSON object: what is known at the start; unknown keys are kept"),
                ("`s`", "seconds since the start, and the sentence as received"),
                ("`n`", "seconds, and a JSON object: the operator's note at that moment"),
                ("`x`", "seconds, and bytes that were no valid sentence, in hex"),
                (
                    "`e`",
                    "JSON object with `records` and `sha256`: the number of lines between the "
                    "first and this one, and the hash of all bytes before this line",
                ),
            ),
        ),
        "A torn last line is dropped and said so; a recording without `e` is taken and said so; "
        "one whose seal does not match is refused unless told to go on. Nothing ever rewrites a "
        "recording.",
        "Keys of the header:",
        table(("key", "value", "meaning"), ((keys_text(key), v, m) for key, v, m in HEADER_KEYS)),
        "The sentences are those of the [wire contract](../../firmware_protocol/SPECIFICATION.md). "
        "A file without that first line is a plain log of NMEA sentences: `--rate` counts its "
        "headings a second.",
        "## A job",
        "A folder with `job.toml`; edit it by hand as you like, the program keeps comments.",
        "```text" + JOB_TREE + "```",
        *job_parts(),
        "## A horizon as CSV",
        "Lines that start with `#` are metadata, `# key: value`; then a header line, then one node "
        "a line, at any spacing and in any order of azimuth, read round the circle with straight "
        "lines between nodes. Two rows of one azimuth are a vertical edge, first the "
        "anticlockwise side. An empty elevation was not measured.",
        table(("column", "unit", "meaning"), csv_columns()),
        "Metadata keys that are understood: `heading_error_deg`, `level_error_deg`, "
        "`correlation_deg`, and `obstruction: NAME = KIND` with one of the kinds "
        + ", ".join(OBSTRUCTION_KINDS)
        + ".",
        "## Samples as CSV",
        "`replay --samples FILE`: one row a measuring instant, "
        "`t_s,azimuth_deg,elevation_deg,roll_deg,used,reason`; azimuth and elevation also of "
        "samples that were not used.",
        "## A result as JSON",
        f"`{RESULT_SCHEMA}`: `replay --json`, and `results/<point>.json` in a job. `assess --json` "
        "gives `site`, `planes` and `assumptions` of the same. Shares are 0 to 1, a number that is "
        "not defined is `null`, and `low` and `high` bound the 95 % interval. Keys as they stand "
        "in a result of the shipped survey; `[]` is a list, with the number of entries where it "
        "is fixed:",
        "```text\n" + "\n".join(tree_lines(result)) + "\n```",
        "A plane with a size has `energy`, and `annual_kwh` in its loss; one judged by rules has "
        "`rules`; with month weights there is `weighted_solar_access`. `replay` with a job adds "
        "`changes` where the result differs from the stored one: `settings`, `figures`, "
        "`skyline`, `checks` and `planes`.",
        "## A batch as JSON",
        f"`{BATCH_SCHEMA}`: `replay --batch FOLDER --json FILE`. `jobs` is a list in order of "
        "their names, each with `job` (its way from FOLDER), `points` (results as above), "
        "`exit_code`, `trouble`, `not_swept` and `not_worked_out` (point to why); `exit_code` "
        "beside it is the worst.",
    )


JOB_TREE = """
job.toml                              site, points, planes, obstructions, rules, people
calibrations/<UTC>-<purpose>.sweep    recordings, and .json beside them what was fitted
sweeps/<point>/<UTC>.sweep            all recordings of a point together are the point
results/<point>.json                  the last result
photos/<point>/                       for the report
report/                               the report and what lies beside it
"""


SITE_KEYS = (
    ("`name`", "", "of the survey"),
    ("`latitude_deg`", "deg", "north positive"),
    ("`longitude_deg`", "deg", "east positive"),
    ("`altitude_m`", "m", "above sea level"),
    ("`timezone`", "", "IANA name, for clock times"),
)


def job_parts() -> Iterator[str]:
    head = ("key", "unit", "meaning")
    yield "### `[site]`"
    yield table(head, SITE_KEYS)
    for heading, record in (
        ("[[points]]", Point),
        ("[[planes]]", Plane),
        ("[[obstructions]]", records.JobObstruction),
        ("[rules]", Rules),
    ):
        yield f"### `{heading}`"
        yield table(head, record_rows(record))
    told = parameters_of(Job)
    yield "### `[people]`, `[board]`"
    yield f"People: {told['people'][0]} Board: {told['board'][0]}".replace("``", "`")
    yield "### `[[edits]]`"
    yield (
        "What the office changed without touching a recording, appended by `edit`: `kind`, "
        "`point`, `who`, `when`, `why`, and the keys of the kind."
    )
    yield table(("kind", "what it does", "keys"), edit_rows())


def record_rows(record: type[Any]) -> Iterator[tuple[str, str, str]]:
    told = parameters_of(record)
    for one in fields(record):
        meaning, unit = told.get(one.name, ("", ""))
        yield f"`{one.name}`", unit, meaning.replace("``", "`")


def edit_rows() -> Iterator[tuple[str, str, str]]:
    for kind, record in edits.KINDS.items():
        own = [f.name for f in fields(record) if f.name not in ("point", "who", "when", "why")]
        first = (record.__doc__ or "").partition("\n")[0]
        yield f"`{kind}`", first, ", ".join(f"`{name}`" for name in own)


COLUMN_WORDS = {
    "azimuth_deg": ("deg", "clockwise from true north"),
    "elevation_deg": ("deg", "of the skyline above level; empty where it was not measured"),
    "standard_error_deg": ("deg", "random part, 1 sigma"),
    "measured": ("", "true or false; yes or no, 1 or 0 are read as well"),
    "obstruction": ("", "the name of what stands there"),
    "distance_m": ("m", "to what makes the skyline; empty where it is not known"),
}


def csv_columns() -> Iterator[tuple[str, str, str]]:
    for name in COLUMNS:
        yield (f"`{name}`", *COLUMN_WORDS[name])


def keys_text(keys: str) -> str:
    return ", ".join(f"`{key}`" for key in keys.split(", "))


def shipped_result() -> Any:
    """A result of the shipped survey."""
    survey = job_file.read_job(shipped_survey())
    again = point_again(survey, "yard")
    return json.loads(json.dumps(plain(again.document)))


FIXED = (12, 13, 24)


def tree_lines(value: Any, depth: int = 0) -> Iterator[str]:
    for key, inner in value.items():
        yield from branch(key, inner, "  " * depth, depth)


def branch(key: str, value: Any, pad: str, depth: int) -> Iterator[str]:
    count = ""
    while isinstance(value, list):
        records = bool(value) and isinstance(value[0], dict) and key != "monthly"
        count += f"[{len(value)}]" if len(value) in FIXED and not records else "[]"
        value = value[0] if value else "…"
    name = f"{pad}{key}{count}"
    if depth == 0 and key == "settings":
        yield f"{name}   room, then name: see settings.md"
    elif isinstance(value, dict) and not re.fullmatch(r"used|figures|rejected|refused", key):
        yield name
        yield from tree_lines(value, depth + 1)
    elif isinstance(value, dict):
        yield f"{name}   object"
    else:
        yield f"{name}   {kind(value)}"


def kind(value: Any) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, (int, float)) or value is None:
        return "number"
    return "text"


if __name__ == "__main__":
    main()
