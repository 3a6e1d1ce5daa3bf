"""Sentences end before the terminal's edge, between words; tables and files stay as they are."""

import io

import pytest

from logger.cli.options import for_terminal

LONG = "the skyline of a far ridge " * 8
TABLE = "a title that is longer than the table\ncolumn  " + "wide " * 30 + "\n------  ----\n1  2"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_lines_end_between_words_and_tables_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    shown = for_terminal(f"{LONG}\n\n{TABLE}\n\n  Jan: {LONG}", Terminal())
    before, after = (part.strip("\n").splitlines() for part in shown.split(f"\n\n{TABLE}\n\n"))
    assert len(before) > 2
    assert max(map(len, before + after)) <= 60
    assert " ".join(before).split() == LONG.split()
    assert after[0].startswith("  Jan")  # what was indented goes on further in
    assert all(line.startswith("    ") for line in after[1:])


def test_a_file_or_nothing_gets_the_text_as_it_is() -> None:
    assert for_terminal(LONG, io.StringIO()) == for_terminal(LONG, None) == LONG
