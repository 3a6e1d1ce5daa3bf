"""A horizon as CSV: what other programs read and write, and how a drawn skyline gets in here.

Lines that start with ``#`` are metadata, ``# key: value``; then a header with ``azimuth_deg`` and
``elevation_deg`` and any of ``standard_error_deg``, ``measured``, ``obstruction``, ``distance_m``,
in any order; then one node a line, at any spacing and in any order of azimuth. Two rows of one
azimuth are a vertical edge, first the anticlockwise side. An empty elevation was not measured.

Metadata keys that are understood: ``heading_error_deg``, ``level_error_deg``, ``correlation_deg``
and ``rise_m`` (see `HorizonProfile`), and ``obstruction: NAME = KIND``. Others are kept out of
the way.

Without that header, two columns are azimuth from north and elevation, in this order unless a header
of their own tells the other, and one column is elevations evenly spaced from north, clockwise.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from logger.errors import InputError
from logger.files import read_within
from logger.geometry import wrap360
from logger.horizon import OBSTRUCTION_KINDS, HorizonProfile, Obstruction

AZIMUTH, ELEVATION = "azimuth_deg", "elevation_deg"
FURTHER = ("standard_error_deg", "measured", "obstruction", "distance_m")
COLUMNS = (AZIMUTH, ELEVATION, *FURTHER)
LARGEST_FILE = 32 * 2**20  # A horizon at every 0.01 degrees takes a twentieth of this. [bytes]
# What a file may hold; a node every 0.01 degrees makes 36 000
MOST_NODES, MOST_SECTORS = 100_000, 500
LONGEST_NAME = 200
_FORMULA = tuple("=+-@")
_TRUE, _FALSE = ("1", "true", "yes"), ("0", "false", "no")
_METADATA = {
    **dict.fromkeys(("heading_error_deg", "level_error_deg", "correlation_deg"), (0.0, 180.0)),
    "rise_m": (-100.0, 100.0),
}
_NUMBERS = {
    AZIMUTH: (-360.0, 360.0),
    ELEVATION: (-90.0, 90.0),
    "standard_error_deg": (0.0, 90.0),
    "distance_m": (0.0, 1e7),
}
_Row = dict[str, Any]  # A node: its columns by name, NaN where empty
_HINT = f"write {AZIMUTH},{ELEVATION} as the first line and one node a line below"


def read_horizon_csv(path: str | Path) -> HorizonProfile:
    """Read a horizon.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    InputError
        The file cannot be read, or a line of it cannot be understood; the line is named.
    """
    path = Path(path)
    try:
        text = read_within(path, LARGEST_FILE, "horizon").decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "is no UTF-8 text", str(path), "export the horizon as CSV, encoded in UTF-8"
        ) from error
    return parse_horizon_csv(text, str(path))


def parse_horizon_csv(text: str, where: str = "horizon") -> HorizonProfile:
    """Understand the text of a horizon."""
    metadata: dict[str, float] = {}
    kinds: dict[str, str] = {}
    header: Sequence[str] | None = None
    rows: list[_Row] = []
    for number, line in enumerate(text.splitlines(), start=1):
        here = f"{where}, line {number}"
        if line.lstrip().startswith("#"):
            _read_metadata(line.lstrip().lstrip("#").strip(), metadata, kinds, here)
        elif line.strip():
            cells = _cells(line, here)
            if header is None:
                header = _header(cells, here)
                if not _all_numbers(cells):
                    continue
            if len(rows) == MOST_NODES:
                raise InputError(f"more than {MOST_NODES} nodes", here)
            rows.append(_row(header, cells, here))
    if header is None:
        raise InputError("has no header and no nodes", where, _HINT)
    if not rows:
        raise InputError("has a header but no nodes", where)
    if AZIMUTH not in header:
        for k, row in enumerate(rows):
            row[AZIMUTH] = 360.0 * k / len(rows)
    return _profile(rows, header, metadata, kinds, where)


def _cells(line: str, here: str) -> list[str]:
    """The cells of a line; semicolons, tabs or blanks part them where no comma does."""
    mark = next((m for m in ";\t" if m in line), ",")
    if mark == ";":
        # Where semicolons part the cells, a comma is the decimal sign.
        line = line.replace(",", ".")
    try:
        cells = [c.strip() for c in next(csv.reader([line], delimiter=mark, strict=True))]
    except (csv.Error, StopIteration) as error:
        raise InputError(f"is no line of CSV: {error}", here) from error
    apart = line.split()
    return apart if len(cells) == 1 and len(apart) == 2 and _all_numbers(apart) else cells


def _all_numbers(cells: Sequence[str]) -> bool:
    try:
        return all(math.isfinite(float(c)) for c in cells)
    except ValueError:
        return False


def _header(cells: Sequence[str], here: str) -> Sequence[str]:
    """What each column holds, from the first line that is no metadata."""
    names = [c.lower() for c in cells]
    for name in COLUMNS:
        if names.count(name) > 1:
            raise InputError(f"the header names {name} twice", here)
    if AZIMUTH in names and ELEVATION in names:
        return names
    if any(name in COLUMNS for name in names) or not 1 <= len(names) <= 2:
        lacking = next(n for n in (AZIMUTH, ELEVATION) if n not in names)
        raise InputError(f"the header lacks {lacking}", here, _HINT)
    if len(names) == 1:
        return (ELEVATION,)
    return (ELEVATION, AZIMUTH) if "azimuth" in names[1] else (AZIMUTH, ELEVATION)


def _row(header: Sequence[str], cells: Sequence[str], here: str) -> _Row:
    if len(cells) != len(header):
        raise InputError(f"has {len(cells)} fields, the header {len(header)}", here)
    given = dict(zip(header, cells, strict=True))
    row: _Row = {n: _number(given.get(n, ""), n, *_NUMBERS[n], here) for n in _NUMBERS}
    if AZIMUTH in given and math.isnan(row[AZIMUTH]):
        raise InputError(f"{AZIMUTH} is empty", here)
    flag = given.get("measured", "").lower()
    if flag and flag not in _TRUE + _FALSE:
        raise InputError(f"measured is {_shown(flag)}, not true or false", here)
    measured = flag not in _FALSE and not math.isnan(row[ELEVATION])
    if flag in _TRUE and not measured:
        raise InputError(f"is marked measured but its {ELEVATION} is empty", here)
    name = given.get("obstruction", "")
    if name[:1] == "'" and name[1:2] in _FORMULA:
        name = name[1:]
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError(f"obstruction is no name of up to {LONGEST_NAME} printable letters", here)
    return row | {"measured": measured, "obstruction": name}


def _number(cell: str, name: str, low: float, high: float, here: str) -> float:
    if not cell:
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        raise InputError(f"{name} is {_shown(cell)}, no number", here) from None
    if not low <= value <= high:
        raise InputError(f"{name} is {_shown(cell)}, outside {low:g} to {high:g}", here)
    return value


def _shown(cell: str) -> str:
    return repr(cell if len(cell) <= 40 else cell[:37] + "...")


def _read_metadata(text: str, metadata: dict[str, float], kinds: dict[str, str], here: str) -> None:
    key, colon, value = (part.strip() for part in text.partition(":"))
    if colon and key in _METADATA:
        metadata[key] = _number(value, key, *_METADATA[key], here)
        if math.isnan(metadata[key]):
            raise InputError(f"{key} is empty", here)
    elif colon and key == "obstruction":
        name, _, kind = (part.strip() for part in value.rpartition("="))
        if kind not in OBSTRUCTION_KINDS:
            known = ", ".join(OBSTRUCTION_KINDS)
            raise InputError(f"kind {_shown(kind)} of an obstruction is none of {known}", here)
        kinds[name] = kind


def _profile(
    rows: list[_Row],
    header: Sequence[str],
    metadata: dict[str, float],
    kinds: dict[str, str],
    where: str,
) -> HorizonProfile:
    rows.sort(key=lambda r: float(wrap360(r[AZIMUTH])))
    sectors = tuple(_obstructions(rows, kinds))
    if len(sectors) > MOST_SECTORS:
        raise InputError(f"names {len(sectors)} obstructions, more than {MOST_SECTORS}", where)
    needed = (AZIMUTH, ELEVATION, "measured")
    columns = [name for name in rows[0] if name in needed or name in header]
    told: dict[str, Any] = {name: np.array([r[name] for r in rows]) for name in columns} | metadata
    told |= {"obstructions": sectors, "steps": (f"read from {Path(where).name}",)}
    told.pop("obstruction", None)
    try:
        return HorizonProfile(**told)
    except ValueError as error:
        raise InputError(str(error), where) from error


def _obstructions(rows: list[_Row], kinds: dict[str, str]) -> Iterable[Obstruction]:
    """Runs of neighbouring nodes with one name; each reaches half way to the next node."""
    changes = [i for i in range(len(rows)) if rows[i]["obstruction"] != rows[i - 1]["obstruction"]]
    if not changes and rows[0]["obstruction"]:
        yield _obstruction(rows, 0.0, 360.0, kinds)
    for i, j in zip(changes, [*changes[1:], *changes[:1]], strict=True):
        run = rows[i:j] if j > i else rows[i:] + rows[:j]
        if run[0]["obstruction"]:
            yield _obstruction(
                run, _between(rows[i - 1], rows[i]), _between(run[-1], rows[j]), kinds
            )


def _between(a: _Row, b: _Row) -> float:
    return float(wrap360(a[AZIMUTH] + wrap360(b[AZIMUTH] - a[AZIMUTH]) / 2))


def _obstruction(run: list[_Row], start: float, end: float, kinds: dict[str, str]) -> Obstruction:
    distances = [r["distance_m"] for r in run if not math.isnan(r["distance_m"])]
    distance, name = float(np.median(distances)) if distances else None, run[0]["obstruction"]
    return Obstruction(name, start, end, kinds.get(name, "other"), distance)


def horizon_csv(profile: HorizonProfile) -> str:
    """A profile as the text of a CSV file; `parse_horizon_csv` reads it back."""
    out = io.StringIO()
    for name in _METADATA:
        out.write(f"# {name}: {getattr(profile, name):.6g}\n")
    for o in {o.name: o for o in profile.obstructions}.values():
        out.write(f"# obstruction: {_one_line(o.name)} = {o.kind}\n")
    columns: dict[str, Iterable[str]] = {
        AZIMUTH: map(_cell, profile.azimuth_deg),
        ELEVATION: map(_cell, np.where(profile.known, profile.elevation_deg, np.nan)),
        "measured": ("true" if known else "false" for known in profile.known),
        "obstruction": (_inert(_one_line(name)) for name in profile.names_at_nodes()),
    }
    for name in ("standard_error_deg", "distance_m"):
        if np.isfinite(values := getattr(profile, name)).any():
            columns[name] = map(_cell, values)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return out.getvalue()


def _cell(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.6g}"


def _inert(text: str) -> str:
    """A name that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in _FORMULA and text else text


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text).strip()
