import os
import sys
from collections.abc import Iterator
from types import SimpleNamespace

import pytest

from logger.live.keyboard import (
    Action,
    Controls,
    open_keyboard,
    posix_keyboard,
    windows_keyboard,
)


def press(*more: Action) -> list[Action]:
    return [Action("press", 3.0), *more]


TYPED = {
    "space": (" ", [Action("pause", 3.0)], ""),
    "r": ("rR", [Action("redo", 3.0), Action("redo", 3.0)], ""),
    "q": ("q", [Action("end", 3.0)], ""),
    "other keys do nothing": ("xyz17m\r\n\t", [], ""),
    # How far a name holds is said where it is typed.
    "a press counts at once": ("p", press(), "to the next press"),
    "letters of a name are no commands": (
        "pquarry rim q\rt", press(Action("name", 3.0, "quarry rim q", "terrain")), "",
    ),
    "a wrong letter of a kind is asked again": ("pshed\rz", press(), "shed: "),
    "a kind not chosen is other": ("pshed\r\r", press(Action("name", 3.0, "shed", "other")), ""),
    "Enter leaves a press without a name": ("p\r", press(), ""),
    "Escape does, too": ("p\x1b", press(), ""),
    "a dash ends the last name": ("p-\r", press(Action("name", 3.0)), ""),
    "backspace takes back a letter": ("nsnoq\x7fw", [], "note: snow_"),
    "a note": ("nsnow\r", [Action("note", 3.0, "snow")], ""),
    "a note does not grow without end": (
        "n" + "x" * 500 + "\r", [Action("note", 3.0, "x" * 60)], "",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("typed", "actions", "prompt"), TYPED.values(), ids=TYPED)
def test_what_is_typed_does_what_it_means(typed: str, actions: list[Action], prompt: str) -> None:
    controls = Controls()
    assert controls.feed(typed, 3.0) == actions
    assert prompt in controls.prompt
    assert bool(prompt) == bool(controls.prompt)


def test_a_name_counts_from_the_moment_of_its_press() -> None:
    controls = Controls()
    assert controls.feed("p", 3.0) == press()
    assert controls.feed("lime tree\r", 9.0) == []
    assert controls.feed("d", 11.0) == [Action("name", 3.0, "lime tree", "deciduous")]


def test_where_nothing_is_named_a_press_asks_for_no_name_and_other_keys_mean_nothing() -> None:
    assert Controls("pq").feed("p rnq", 3.0) == press(Action("end", 3.0))


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """A pseudo-terminal: where a person types, and where it is read."""
    if sys.platform == "win32":
        pytest.skip("a POSIX terminal is needed")
    ends = os.openpty()
    yield ends
    for end in ends:
        os.close(end)


def test_keys_come_one_by_one_without_enter_and_arrows_type_nothing(
    terminal: tuple[int, int],
) -> None:
    ours, theirs = terminal
    with posix_keyboard(theirs) as typed:
        assert typed() == ""
        os.write(ours, "mž\x1b[A\x1b[1;5C\x1bOP\x1b[15~".encode())
        assert typed() == "mž"
        assert typed() == ""


def test_the_terminal_is_left_as_it_was(terminal: tuple[int, int]) -> None:
    import termios

    before = termios.tcgetattr(terminal[1])
    with posix_keyboard(terminal[1]):
        assert termios.tcgetattr(terminal[1]) != before
    assert termios.tcgetattr(terminal[1]) == before


def test_without_a_terminal_nobody_types(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    with open_keyboard() as typed:
        assert typed() == ""


def test_the_windows_console_gives_characters_and_swallows_arrows(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The console hands an arrow key over as two: a lead of 0 or 0xE0, and a code.
    waiting = list("m\xe0Hlime\x00;\r")
    console = SimpleNamespace(kbhit=lambda: bool(waiting), getwch=lambda: waiting.pop(0))
    monkeypatch.setitem(sys.modules, "msvcrt", console)  # type: ignore[arg-type]
    assert windows_keyboard() == "mlime\r"
    assert windows_keyboard() == ""
