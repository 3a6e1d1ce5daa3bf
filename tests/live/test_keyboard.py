import os
import sys
from types import SimpleNamespace

import pytest

from logger.live.keyboard import (
    Action,
    Controls,
    open_keyboard,
    posix_keyboard,
    windows_keyboard,
)

posix = pytest.mark.skipif(sys.platform == "win32", reason="a POSIX terminal is needed")


@pytest.mark.parametrize(
    ("typed", "what"), [(" ", "pause"), ("r", "redo"), ("R", "redo"), ("q", "end"), ("p", "press")]
)
def test_one_key_is_one_action(typed: str, what: str) -> None:
    assert Controls().feed(typed, 3.0) == [Action(what, 3.0)]  # type: ignore[arg-type]


def test_other_keys_do_nothing() -> None:
    assert Controls().feed("xyz17m\r\n\t", 0.0) == []
    assert Controls("pq").feed(" rn", 0.0) == []


def test_a_press_counts_at_once_and_its_name_at_the_moment_of_the_press() -> None:
    controls = Controls()
    assert controls.feed("p", 3.0) == [Action("press", 3.0)]
    assert "to the next press" in controls.prompt  # how far a name holds is said where it is typed
    assert controls.feed("lime tree\r", 9.0) == []
    assert controls.feed("d", 11.0) == [Action("name", 3.0, "lime tree", "deciduous")]


def test_where_nothing_is_named_a_press_asks_for_no_name() -> None:
    controls = Controls("pq")
    assert controls.feed("pq", 3.0) == [Action("press", 3.0), Action("end", 3.0)]


def test_letters_typed_into_a_name_are_no_commands() -> None:
    controls = Controls()
    controls.feed("p", 0.0)
    assert controls.feed("quarry rim q\rt", 1.0) == [Action("name", 0.0, "quarry rim q", "terrain")]


def test_a_kind_not_chosen_is_other_and_a_wrong_letter_is_asked_again() -> None:
    controls = Controls()
    assert controls.feed("pshed\rz", 0.0) == [Action("press", 0.0)]
    assert controls.prompt.startswith("shed: ")
    assert controls.feed("\r", 1.0) == [Action("name", 0.0, "shed", "other")]
    assert controls.prompt == ""


def test_enter_or_escape_leaves_a_press_without_a_name_and_a_dash_ends_the_last_one() -> None:
    for end, more in (("\r", []), ("\x1b", []), ("-\r", [Action("name", 0.0)])):
        controls = Controls()
        assert controls.feed("p" + end, 0.0) == [Action("press", 0.0), *more]
        assert controls.prompt == ""


def test_backspace_takes_back_a_letter() -> None:
    controls = Controls()
    controls.feed("nsnoq\x7fw", 2.0)
    assert controls.prompt == "note: snow_"
    assert controls.feed("\r", 5.0) == [Action("note", 2.0, "snow")]


def test_a_name_cannot_grow_without_end() -> None:
    controls = Controls()
    controls.feed("n" + "x" * 500, 0.0)
    (note,) = controls.feed("\r", 0.0)
    assert len(note.text) == 60


@posix
def test_keys_come_one_by_one_without_enter_and_arrows_type_nothing() -> None:
    ours, terminal = os.openpty()
    try:
        with posix_keyboard(terminal) as typed:
            assert typed() == ""
            os.write(ours, "mž\x1b[A\x1b[1;5C\x1bOP\x1b[15~".encode())
            assert typed() == "mž"
            assert typed() == ""
    finally:
        os.close(ours)
        os.close(terminal)


@posix
def test_the_terminal_is_left_as_it_was() -> None:
    import termios

    ours, terminal = os.openpty()
    try:
        before = termios.tcgetattr(terminal)
        with posix_keyboard(terminal):
            assert termios.tcgetattr(terminal) != before
        assert termios.tcgetattr(terminal) == before
    finally:
        os.close(ours)
        os.close(terminal)


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
