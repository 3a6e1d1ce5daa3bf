"""Tables for a terminal, and names and hours as they stand in any table.

A number that is not defined is None or NaN, and a dash in print.
"""

from __future__ import annotations

import io
import math
import shutil
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import takewhile
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Generic, TypeAlias, TypeVar

if TYPE_CHECKING:
    from rich.console import JustifyMethod

Cell: TypeAlias = str | float | int | None
Row = TypeVar("Row")

DASH = "–"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

NARROWEST = 40
"""Columns of a terminal for which tables are made to fit."""

LEAST_OF_TEXT = 14
"""Letters on one line of a column of text, however narrow the terminal; more are folded."""


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a table for the terminal."""

    heading: str  # Without the unit
    of: Callable[[Row], Cell]  # The cell of a row
    unit: str = ""
    decimals: int | None = None  # Of numbers; None for a column of text
    factor: float = 1.0  # From the number to the one in print, such as 100 for per cent


@dataclass(frozen=True)
class Table(Generic[Row]):
    """A table for the terminal: a line a row."""

    title: str
    rows: Sequence[Row]
    columns: Sequence[Column[Row]]
    last_is_total: bool = False  # The last row sums up the others

    def printed(self) -> list[list[str]]:
        """Cells as they stand in print."""
        return [[_printed(column.of(row), column) for column in self.columns] for row in self.rows]


def in_words(title: str, head: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    """A table of texts for the terminal, its rows as they stand."""
    columns = [Column[Sequence[Cell]](name, itemgetter(k)) for k, name in enumerate(head)]
    return as_text(Table(title, rows, columns))


def grid(
    rows: Iterable[Row], columns: Sequence[tuple[str, Callable[[Row], str]]]
) -> dict[str, Any]:
    """A table of the document: of each column its heading and the cell of a row."""
    return {
        "head": [heading for heading, _ in columns],
        "rows": [[cell(row) for _, cell in columns] for row in rows],
    }


def as_text(table: Table[Any], width: int | None = None) -> str:
    """The table for a terminal, no colour; what is too wide goes on below, rows named again."""
    width = max(width or shutil.get_terminal_size().columns, NARROWEST)
    parts: list[str] = []
    left = list(range(1, len(table.columns)))
    while left or not parts:
        shown = len(left)
        while (text := _drawn(table, [0, *left[:shown]], width)) is None:
            shown -= 1
        even = math.ceil(len(left) / math.ceil(len(left) / max(shown, 1))) if left else 0
        parts.append((even < shown and _drawn(table, [0, *left[:even]], width)) or text)
        left = left[even:]
    return "\n\n".join([f"{one_line(table.title)}\n{parts[0]}", *parts[1:]]) + "\n"


def _drawn(table: Table[Any], which: Sequence[int], width: int) -> str | None:
    """Some columns of a table; None where they are too wide and there are fewer to be had."""
    from rich import box
    from rich.cells import cell_len
    from rich.console import Console
    from rich.table import Table as Drawing
    from rich.text import Text

    printed = [[one_line(cell) for cell in row] for row in table.printed()]
    columns: list[tuple[Text, JustifyMethod, int]] = []
    for k in which:
        column = table.columns[k]
        heading = one_line(column.heading)
        if column.decimals is not None:
            heading = heading.replace(" ", "\n") + (f"\n[{column.unit}]" if column.unit else "")
        right = column.decimals is not None
        longest = max(cell_len(text) for text in [*heading.split("\n"), *(r[k] for r in printed)])
        least = longest if right else min(longest, LEAST_OF_TEXT)
        columns.append((Text(heading), "right" if right else "left", least))
    room = width - sum(least for _, _, least in columns)
    between = 2 if room >= 2 * (len(which) - 1) else 1
    if len(which) > 2 and room < len(which) - 1:
        return None
    ruled = box.Box("    \n    \n -- \n    \n -- \n -- \n    \n    \n", ascii=True)
    padding = (0, between - 1, 0, 0)
    drawing = Drawing(box=ruled, show_edge=False, pad_edge=False, padding=padding)
    for text, justify, least in columns:
        drawing.add_column(text, justify=justify, overflow="fold", min_width=least)
    for n, row in enumerate(printed):
        if table.last_is_total and n == len(printed) - 1:
            drawing.add_section()
        drawing.add_row(*(Text(row[k]) for k in which))
    console = Console(file=io.StringIO(), width=width, color_system=None, legacy_windows=False)
    with console.capture() as capture:
        console.print(drawing)
    return "\n".join(line.rstrip() for line in capture.get().splitlines())


def one_line(text: str) -> str:
    """A text without line breaks, tabs and control characters, which turns nothing about."""
    straight = (c for c in text if unicodedata.bidirectional(c) not in _TURNS)
    return "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in straight
    ).rstrip()


_TURNS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
# Overrides of writing direction: a text must not change how what stands behind it is read


def shortened(names: Sequence[str], longest: int) -> list[str]:
    """Names cut to a number of letters so that what tells them apart stays.

    A long name loses its middle; where that makes two names alike, what both begin with goes.
    """
    lines = [" ".join(name.split()) for name in names]
    cut = {line: _without_middle(line, longest) for line in lines}
    while alike := [short for short, n in Counter(cut.values()).items() if n > 1]:
        for short in alike:
            same = [line for line in cut if cut[line] == short]
            columns = zip(*same, strict=False)
            start = len(list(takewhile(lambda letters: len(set(letters)) == 1, columns)))
            cut |= {line: _without_middle(f"…{line[start:]}", longest) for line in same}
    return [cut[line] for line in lines]


def _without_middle(line: str, longest: int) -> str:
    tail = (longest - 1) // 2
    return line if len(line) <= longest else f"{line[: longest - 1 - tail]}…{line[-tail:]}"


def is_missing(cell: Cell) -> bool:
    """Whether a number is not defined."""
    return cell is None or (isinstance(cell, float) and math.isnan(cell))


def _printed(cell: Cell, column: Column[Any]) -> str:
    if is_missing(cell):
        return DASH
    if isinstance(cell, str):
        return cell
    assert cell is not None
    text = f"{cell * column.factor:.{column.decimals or 0}f}"
    # A rounded -0.0 is no loss and no gain.
    return text.replace("-", "−") if float(text) != 0 else text.lstrip("-")


def hour_text(hour: float) -> str:
    """Hours and minutes."""
    minutes = round(hour * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"
