"""Tables as data, and the three ways they leave the program: terminal, CSV, document.

A number that is not defined is None: a dash in print, an empty CSV field.

Text fields of a CSV are inert: one that a spreadsheet would take for a formula (it starts with
``=``, ``+``, ``-``, ``@``, a tab or a carriage return, also after leading blanks) gets an
apostrophe in front, and line breaks become blanks. Numbers are written plainly.
"""

from __future__ import annotations

import csv
import io
import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

Cell: TypeAlias = str | float | int | None

DASH = "–"


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    name: str  # Of the CSV field, with the unit as its suffix
    heading: str  # In print, without the unit
    unit: str = ""  # In print
    decimals: int | None = None  # Of numbers in print; None for a column of text
    csv_decimals: int = 6  # Of numbers in the CSV
    factor: float = 1.0  # From the number in the CSV to the one in print, such as 100 for per cent
    as_clock: bool = False  # Numbers are hours; print has hours and minutes


@dataclass(frozen=True)
class Table:
    """Rows of cells under columns."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...] = field(default=())  # NaN counts as None
    last_is_total: bool = False  # The last row sums up the others

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.title}: {len(row)} cells, {len(self.columns)} columns")

    def printed(self) -> list[list[str]]:
        """Cells as they stand in print."""
        return [
            [_printed(cell, column) for cell, column in zip(row, self.columns, strict=True)]
            for row in self.rows
        ]


def as_text(table: Table) -> str:
    """The table for a terminal: aligned, numbers to the right, no colour."""
    body = [[one_line(cell) for cell in row] for row in table.printed()]
    stacks = stacked_headings(table)
    if any(c.unit for c in table.columns):
        stacks = [
            stack if c.unit else [*stack, ""]
            for stack, c in zip(stacks, table.columns, strict=True)
        ]
    tall = max(len(stack) for stack in stacks)
    head = [
        [stack[k - tall + len(stack)] if k >= tall - len(stack) else "" for stack in stacks]
        for k in range(tall)
    ]
    widths = [max(_width(row[k]) for row in [*head, *body]) for k in range(len(table.columns))]
    right = [c.decimals is not None for c in table.columns]
    rule = "  ".join("-" * w for w in widths)
    lines = [_aligned(row, widths, right) for row in head]
    lines.append(rule)
    for k, row in enumerate(body):
        if table.last_is_total and k == len(body) - 1:
            lines.append(rule)
        lines.append(_aligned(row, widths, right))
    return "\n".join([one_line(table.title), *lines]) + "\n"


def stacked_headings(table: Table) -> list[list[str]]:
    """Each column's heading on as few lines as fit its cells; the unit, where any, comes last."""
    body = table.printed()
    stacks = []
    for k, column in enumerate(table.columns):
        unit = [f"[{column.unit}]"] if column.unit else []
        room = max(
            [_width(text) for text in unit] + [_width(one_line(row[k])) for row in body] + [0]
        )
        stacks.append([*_stacked(one_line(column.heading), room), *unit])
    return stacks


def as_csv(table: Table) -> str:
    """The table as CSV with one header row, comma separated, lines ended by LF."""
    return csv_text(
        [c.name for c in table.columns],
        [
            [_csv_cell(cell, column) for cell, column in zip(row, table.columns, strict=True)]
            for row in table.rows
        ],
    )


def csv_text(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Rows of finished fields as CSV text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def inert(text: str) -> str:
    """A text that no spreadsheet takes for a formula, on one line."""
    line = one_line(text)
    return f"'{line}" if line.lstrip()[:1] in ("=", "+", "-", "@") or text[:1] in "\t\r" else line


def one_line(text: str) -> str:
    """A text without line breaks, tabs and control characters."""
    return "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text
    ).rstrip()


def shorten(text: str, longest: int) -> str:
    """A text on one line, cut to a number of characters with an ellipsis."""
    line = " ".join(text.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def _is_missing(cell: Cell) -> bool:
    return cell is None or (isinstance(cell, float) and math.isnan(cell))


def _printed(cell: Cell, column: Column) -> str:
    if _is_missing(cell):
        return DASH
    if isinstance(cell, str):
        return cell
    assert cell is not None
    if column.as_clock:
        minutes = round(cell * 60)
        return f"{minutes // 60}:{minutes % 60:02d}"
    text = f"{cell * column.factor:.{column.decimals or 0}f}"
    # A rounded -0.0 is no loss and no gain.
    return text.replace("-", "−") if float(text) != 0 else text.lstrip("-")


def _csv_cell(cell: Cell, column: Column) -> str:
    if _is_missing(cell):
        return ""
    if isinstance(cell, str):
        return inert(cell)
    assert cell is not None
    if isinstance(cell, int):
        return str(cell)
    text = f"{cell:.{column.csv_decimals}f}"
    return text if float(text) != 0 else text.lstrip("-")


def _stacked(heading: str, room: int) -> list[str]:
    """A heading's words on as few lines as fit a width, or its longest word."""
    words = heading.split(" ") or [""]
    room = max(room, *(_width(word) for word in words)) if len(words) > 1 else room
    lines = [words[0]]
    for word in words[1:]:
        if _width(lines[-1]) + 1 + _width(word) <= room:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines


def _width(text: str) -> int:
    """Columns of a terminal that a text takes: wide characters two, combining marks none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _aligned(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    padded = []
    for cell, width, flush_right in zip(cells, widths, right, strict=True):
        blank = " " * (width - _width(cell))
        padded.append(blank + cell if flush_right else cell + blank)
    return "  ".join(padded).rstrip()
