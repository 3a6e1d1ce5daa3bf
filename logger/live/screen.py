"""A moment in characters: a screenful, or one line."""

from __future__ import annotations

import math

import numpy as np
from rich.text import Text

from logger.geometry import angle_between
from logger.live.state import MEASURED, Figure, HorizonSoFar, LiveState, Seen

BLOCKS = " ▁▂▃▄▅▆▇█"
WIDEST_LINE = 80
_AXIS = 4  # columns of the elevation axis
_LEAST_ROWS, _MOST_ROWS = 3, 16
_STRIP = {
    Seen.SUNLESS: " ",
    Seen.MISSING: "·",
    Seen.ONCE: "▒",
    Seen.TWICE: "█",
    Seen.DISPUTED: "!",
    Seen.SUN: "*",
}
"""Characters of the strip below the horizon."""

_SHAPES = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": ("  #", "  #", "  #", "  #", "  #"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "-": ("   ", "   ", "###", "   ", "   "),
    ".": (" ", " ", " ", " ", "#"),
    " ": ("   ", "   ", "   ", "   ", "   "),
}
LINES = 5
"""Height of a figure that is to be read at arm's length."""


def large(text: str) -> list[str]:
    """Five lines that show a number."""
    rows = [" ".join(_SHAPES[c][line] for c in text) for line in range(LINES)]
    return [row.replace("#", "█") for row in rows]


def status_line(state: LiveState) -> str:
    """One line of at most 80 characters, for output that is no terminal."""
    clock = f"{state.elapsed_s:5.0f} s"
    if state.warnings and state.warnings[0].kind == "silence":
        return f"{clock}  {state.warnings[0].words}"
    rate = f"{state.counts.rate_hz:.0f} Hz"
    parts = [clock, *(f"{f.name} {f.text}{_unit(f)}" for f in state.figures), rate]
    if state.horizon is not None:
        parts.append(f"seen {100 * state.horizon.share(*MEASURED):.0f} %")
    parts.append(state.short)
    line = "  ".join(part for part in parts if part)
    if len(line) > WIDEST_LINE:
        # A part is left out whole, the least wanted one; a number that is cut would be another one.
        line = "  ".join(part for part in parts if part and part is not rate)
    return line


def screen(state: LiveState, width: int, height: int) -> Text:
    """The whole screen, exactly as many lines as it has; what does not fit is left out."""
    foot = Text((state.prompt or state.keys)[:width], style="bold" if state.prompt else "dim")
    first = f" {state.first} "[:width].ljust(width)
    now = Text(first, style="bold reverse red" if state.warnings else "bold reverse")
    counts = state.counts
    link = f"{counts.rate_hz:.0f} Hz   {counts.lost} lost   {counts.damaged} damaged"
    told = [*state.facts[:-1], "   ".join([*state.facts[-1:], link])]
    facts = [Text(line) for fact in told for line in _folded(fact, width)]
    message = [Text(state.message[:width], style="yellow")] if state.message else []
    room = height - 3 - len(facts) - len(message)
    body = [_title(state, width)]
    if room >= LINES:
        body += _figures(state.figures, width)
        room -= LINES
    else:
        line = "  ".join(f"{f.name} {f.text}{_unit(f)}" for f in state.figures)
        body.append(Text(line[:width], style="bold"))
        room -= 1
    body.append(now)
    if state.panel:
        body += [Text(line[:width]) for line in state.panel[: max(room, 0)]]
    elif state.horizon is not None and room >= 2:
        rows = min(room - 2, _MOST_ROWS)
        body += _horizon(state, width, rows if rows >= _LEAST_ROWS else 0)
    lines = [*body, *facts, *message][: height - 1]
    lines += [Text("")] * (height - 1 - len(lines))
    return Text("\n", no_wrap=True, overflow="crop", end="").join([*lines, foot])


def _title(state: LiveState, width: int) -> Text:
    """Job and point, or what is wrong with the board, and how long it has been going."""
    seconds = int(state.elapsed_s)
    right = f" {state.phase} {seconds // 60}:{seconds % 60:02d} "
    left = f" {state.board or state.title}"[: max(0, width - len(right))]
    style = "reverse red" if state.board else "reverse"
    return Text(left.ljust(width - len(right)) + right, style=style)


def _figures(figures: tuple[Figure, ...], width: int) -> list[Text]:
    """Figures side by side, large, with their names and units beside."""
    shapes = [large(f"{figure.text:>5}") for figure in figures]
    used = sum(len(shape[0]) + 12 for shape in shapes)
    gap = " " * max(1, min(10, width - used))
    lines = []
    for i in range(LINES):
        beside = [(f.name, f.unit)[i] if i < 2 else "" for f in figures]
        parts = [f" {shape[i]} {text:<10}" for shape, text in zip(shapes, beside, strict=True)]
        lines.append(Text(gap.join(parts)[:width].ljust(width), style="bold"))
    return lines


def _folded(fact: str, width: int) -> list[str]:
    """A fact on as many lines as it takes, broken where its parts meet."""
    lines = [""]
    for part in fact.split("   "):
        longer = f"{lines[-1]}   {part}" if lines[-1] else part
        if len(longer) > width and lines[-1]:
            lines.append(part)
        else:
            lines[-1] = longer
    return [line[:width] for line in lines]


def _horizon(state: LiveState, width: int, rows: int) -> list[Text]:
    """The horizon so far over what was seen of it; no rows give the strip alone."""
    assert state.horizon is not None
    columns = width - _AXIS - 1
    so_far = state.horizon.in_columns(columns, state.middle_deg)
    lines = _bars(state, so_far, rows) if rows else []
    strip = "".join(_STRIP[Seen(seen)] for seen in so_far.seen)
    lines.append(Text(f"{'seen':>{_AXIS}} {strip}"))
    lines.append(Text(" " * (_AXIS + 1) + _compass_points(state.middle_deg, columns), style="dim"))
    return lines


def _bars(state: LiveState, so_far: HorizonSoFar, rows: int) -> list[Text]:
    columns = len(so_far.seen)
    known = so_far.elevation_deg[np.isfinite(so_far.elevation_deg)]
    top = max(20.0, float(np.ceil(max(known, default=0.0) / 10.0) * 10.0))
    here = row_of_sight = -1
    if not math.isnan(state.azimuth_deg):
        top = max(top, float(np.ceil((state.elevation_deg + 0.1) / 10.0) * 10.0))
        turn = float(angle_between(state.azimuth_deg, state.middle_deg)) + 180.0
        here = min(columns - 1, int(turn / 360.0 * columns))
        row_of_sight = int(np.clip(state.elevation_deg / top * rows, 0, rows - 1))
    filled = np.nan_to_num(so_far.elevation_deg, nan=0.0) / top * rows
    lines = []
    for row in range(rows - 1, -1, -1):
        cells = [BLOCKS[round(float(p) * 8)] for p in np.clip(filled - row, 0.0, 1.0)]
        if row == row_of_sight:
            cells[here] = "+"
        # The row that a multiple of ten degrees falls into, its upper end included, bears it.
        tens = math.floor(top * (row + 1) / rows / 10.0 + 1e-9)
        label = f"{tens * 10}°" if tens > math.floor(top * row / rows / 10.0 + 1e-9) else ""
        lines.append(Text(f"{label:>{_AXIS}} " + "".join(cells)))
    return lines


def _compass_points(middle_deg: float, columns: int) -> str:
    line = [" "] * columns
    for i, name in enumerate(("N", "NE", "E", "SE", "S", "SW", "W", "NW")):
        at = int((float(angle_between(45.0 * i, middle_deg)) + 180.0) / 360.0 * columns)
        for k, letter in enumerate(name):
            if at + k < columns:
                line[at + k] = letter
    return "".join(line)


def _unit(figure: Figure) -> str:
    return figure.unit if figure.unit.startswith("°") else f" {figure.unit}"
