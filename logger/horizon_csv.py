"""A horizon as CSV: what other programs read and write, and how a drawn skyline gets in here.

Lines that start with ``#`` are metadata, ``# key: value``; then a header with ``azimuth_deg`` and
``elevation_deg`` and any of ``standard_error_deg``, ``measured``, ``obstruction``, ``distance_m``,
in any order; then one node a line, at any spacing and in any order of azimuth. Two rows of one
azimuth are a vertical edge, first the anticlockwise side. An empty elevation was not measured.

Metadata keys that are understood: ``heading_error_deg``, ``level_error_deg`` and
``correlation_deg`` (see `HorizonProfile`), and ``obstruction: NAME = KIND``. Others are kept out of
the way.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from logger.errors import InputError
from logger.files import read_within
from logger.geometry import wrap360
from logger.horizon import OBSTRUCTION_KINDS, HorizonProfile, Obstruction

COLUMNS = (
    "azimuth_deg",
    "elevation_deg",
    "standard_error_deg",
    "measured",
    "obstruction",
    "distance_m",
)
LARGEST_FILE = 32 * 2**20
"""A horizon at every 0.01 degrees takes a twentieth of this. [bytes]"""

MOST_NODES, MOST_SECTORS = 100_000, 500
"""What a file may hold; a node every 0.01 degrees makes 36 000."""

LONGEST_NAME = 200

_FORMULA = tuple("=+-@")
_TRUE, _FALSE = ("1", "true", "yes"), ("0", "false", "no")
_ERRORS = ("heading_error_deg", "level_error_deg", "correlation_deg")


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
    header: list[str] | None = None
    rows: list[_Row] = []
    for number, line in enumerate(text.splitlines(), start=1):
        here = f"{where}, line {number}"
        if not line.strip():
            continue
        if line.lstrip().startswith("#"):
            _read_metadata(line.lstrip().lstrip("#").strip(), metadata, kinds, here)
            continue
        try:
            cells = [c.strip() for c in next(csv.reader([line], strict=True))]
        except (csv.Error, StopIteration) as error:
            raise InputError(f"is no line of CSV: {error}", here) from error
        if header is None:
            header = _header(cells, here)
        elif len(rows) == MOST_NODES:
            raise InputError(f"more than {MOST_NODES} nodes", here)
        else:
            rows.append(_row(header, cells, here))
    if header is None:
        raise InputError("has no header line azimuth_deg,elevation_deg", where)
    if not rows:
        raise InputError("has a header but no nodes", where)
    return _profile(rows, header, metadata, kinds, where)


class _Row:
    """One node as read."""

    __slots__ = ("azimuth", "distance", "elevation", "error", "measured", "name")

    def __init__(self) -> None:
        self.azimuth = self.elevation = self.error = self.distance = math.nan
        self.measured = True
        self.name = ""


def _header(cells: list[str], here: str) -> list[str]:
    names = [c.lower() for c in cells]
    if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
        raise InputError(
            "its fields are separated by semicolons or tabs",
            here,
            "save it with commas between the fields and points in the numbers",
        )
    for wanted in ("azimuth_deg", "elevation_deg"):
        if wanted not in names:
            raise InputError(
                f"the header lacks {wanted}",
                here,
                "the first line after the # lines must be azimuth_deg,elevation_deg",
            )
    for name in COLUMNS:
        if names.count(name) > 1:
            raise InputError(f"the header names {name} twice", here)
    return names


def _row(header: list[str], cells: list[str], here: str) -> _Row:
    if len(cells) != len(header):
        raise InputError(f"has {len(cells)} fields, the header {len(header)}", here)
    row, given = _Row(), dict(zip(header, cells, strict=True))
    row.azimuth = _number(given["azimuth_deg"], "azimuth_deg", -360.0, 360.0, here)
    if math.isnan(row.azimuth):
        raise InputError("azimuth_deg is empty", here)
    row.elevation = _number(given["elevation_deg"], "elevation_deg", -90.0, 90.0, here)
    row.error = _number(given.get("standard_error_deg", ""), "standard_error_deg", 0.0, 90.0, here)
    row.distance = _number(given.get("distance_m", ""), "distance_m", 0.0, 1e7, here)
    flag = given.get("measured", "").lower()
    if flag and flag not in _TRUE + _FALSE:
        raise InputError(f"measured is {_shown(flag)}, not true or false", here)
    row.measured = flag not in _FALSE and not math.isnan(row.elevation)
    if flag in _TRUE and not row.measured:
        raise InputError("is marked measured but its elevation_deg is empty", here)
    row.name = given.get("obstruction", "")
    if row.name[:1] == "'" and row.name[1:2] in _FORMULA:
        row.name = row.name[1:]
    if len(row.name) > LONGEST_NAME or not row.name.isprintable():
        raise InputError(f"obstruction is no name of up to {LONGEST_NAME} printable letters", here)
    return row


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
    if not colon:
        return
    if key in _ERRORS:
        metadata[key] = _number(value, key, 0.0, 180.0, here)
        if math.isnan(metadata[key]):
            raise InputError(f"{key} is empty", here)
    elif key == "obstruction":
        name, _, kind = (part.strip() for part in value.rpartition("="))
        if kind not in OBSTRUCTION_KINDS:
            raise InputError(
                f"kind {_shown(kind)} of an obstruction is none of {', '.join(OBSTRUCTION_KINDS)}",
                here,
            )
        kinds[name] = kind


def _profile(
    rows: list[_Row],
    header: list[str],
    metadata: dict[str, float],
    kinds: dict[str, str],
    where: str,
) -> HorizonProfile:
    rows.sort(key=lambda r: float(wrap360(r.azimuth)))
    sectors = tuple(_obstructions(rows, kinds))
    if len(sectors) > MOST_SECTORS:
        raise InputError(f"names {len(sectors)} obstructions, more than {MOST_SECTORS}", where)
    try:
        return HorizonProfile(
            np.array([r.azimuth for r in rows]),
            np.array([r.elevation for r in rows]),
            np.array([r.error for r in rows]) if "standard_error_deg" in header else None,
            np.array([r.measured for r in rows]),
            sectors,
            np.array([r.distance for r in rows]) if "distance_m" in header else None,
            steps=(f"read from {Path(where).name}",),
            **metadata,
        )
    except ValueError as error:
        raise InputError(str(error), where) from error


def _obstructions(rows: list[_Row], kinds: dict[str, str]) -> Iterable[Obstruction]:
    """Runs of neighbouring nodes with one name; each reaches half way to the next node."""
    n = len(rows)
    if all(r.name == rows[0].name for r in rows):
        if rows[0].name:
            yield _obstruction(rows, 0.0, 360.0, kinds)
        return
    first = next(i for i in range(n) if rows[i].name != rows[i - 1].name)
    run: list[_Row] = []
    start = _between(rows[first - 1], rows[first])
    for k in range(n):
        row, following = rows[(first + k) % n], rows[(first + k + 1) % n]
        run.append(row)
        if following.name != row.name:
            end = _between(row, following)
            if row.name:
                yield _obstruction(run, start, end, kinds)
            run, start = [], end


def _between(a: _Row, b: _Row) -> float:
    gap = float(wrap360(b.azimuth - a.azimuth))
    return float(wrap360(a.azimuth + gap / 2))


def _obstruction(run: list[_Row], start: float, end: float, kinds: dict[str, str]) -> Obstruction:
    distances = [r.distance for r in run if not math.isnan(r.distance)]
    name = run[0].name
    return Obstruction(
        name,
        start,
        end,
        kinds.get(name, "other"),
        float(np.median(distances)) if distances else None,
    )


def horizon_csv(profile: HorizonProfile, metadata: dict[str, str] | None = None) -> str:
    """A profile as the text of a CSV file; `parse_horizon_csv` reads it back."""
    out = io.StringIO()
    lines = {str(k): str(v) for k, v in (metadata or {}).items()}
    for name in _ERRORS:
        lines[name] = f"{getattr(profile, name):.6g}"
    for key, value in lines.items():
        out.write(f"# {_one_line(key)}: {_one_line(value)}\n")
    for o in {o.name: o for o in profile.obstructions}.values():
        out.write(f"# obstruction: {_one_line(o.name)} = {o.kind}\n")
    columns = ["azimuth_deg", "elevation_deg"]
    if profile.standard_error_deg is not None:
        columns.append("standard_error_deg")
    columns += ["measured", "obstruction"]
    if profile.distance_m is not None:
        columns.append("distance_m")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    names = profile.names_at_nodes()
    for i in range(len(profile)):
        known = bool(profile.known[i])
        cells = {
            "azimuth_deg": _cell(profile.azimuth_deg[i]),
            "elevation_deg": _cell(profile.elevation_deg[i]) if known else "",
            "standard_error_deg": ""
            if profile.standard_error_deg is None
            else _cell(profile.standard_error_deg[i]),
            "measured": "true" if known else "false",
            "obstruction": _inert(_one_line(names[i])),
            "distance_m": "" if profile.distance_m is None else _cell(profile.distance_m[i]),
        }
        writer.writerow([cells[c] for c in columns])
    return out.getvalue()


def write_horizon_csv(
    path: str | Path, profile: HorizonProfile, metadata: dict[str, str] | None = None
) -> None:
    """Write a horizon; see `horizon_csv`."""
    try:
        with Path(path).open("w", encoding="utf-8", newline="\n") as out:
            out.write(horizon_csv(profile, metadata))
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from error


def _cell(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.6g}"


def _inert(text: str) -> str:
    """A name that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in _FORMULA and text else text


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text).strip()
