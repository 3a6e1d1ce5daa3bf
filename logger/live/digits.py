"""Figures five lines high, to be read at arm's length."""

from __future__ import annotations

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


def large(text: str, block: str = "█") -> list[str]:
    """Five lines that show a number."""
    rows = [" ".join(_SHAPES[c][line] for c in text) for line in range(LINES)]
    return [row.replace("#", block) for row in rows]
