"""Sentences end before the terminal's edge, between words; tables and files stay as they are."""

import io

import pytest

from logger.cli.options import for_terminal

LONG = "the skyline of a far ridge " * 8
TABLE = "a title that is longer than the table\ncolumn  " + "wide " * 30 + "\n------  ----\n1  2"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    monkeypatch.setenv("COLUMNS", "60")
    return Terminal()


def test_a_sentence_is_broken_between_words(terminal: Terminal) -> None:
    lines = for_terminal(LONG, terminal).splitlines()
    assert len(lines) > 2
    assert max(map(len, lines)) <= 60
    assert " ".join(lines).split() == LONG.split()


def test_what_was_indented_goes_on_further_in(terminal: Terminal) -> None:
    first, *others = for_terminal("  Jan: " + LONG, terminal).splitlines()
    assert first.startswith("  Jan")
    assert others
    assert all(line.startswith("    ") for line in others)


def test_a_table_is_left_as_it_is_between_sentences(terminal: Terminal) -> None:
    shown = for_terminal(f"{LONG}\n\n{TABLE}\n\n{LONG}", terminal)
    assert f"\n\n{TABLE}\n\n" in shown
    assert max(map(len, shown.split(TABLE)[1].splitlines())) <= 60


def test_a_file_or_nothing_gets_the_text_as_it_is() -> None:
    assert for_terminal(LONG, io.StringIO()) == LONG
    assert for_terminal(LONG, None) == LONG
