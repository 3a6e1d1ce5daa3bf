import os
import sys
from types import SimpleNamespace

import pytest

from logger.live.controls import Controls, Done, Label, MarkPressed, Redo, Remark, Toggle
from logger.live.keyboard import (
    NoKeyboard,
    PosixKeyboard,
    WindowsKeyboard,
    open_keyboard,
    plain_keys,
)

posix = pytest.mark.skipif(sys.platform == "win32", reason="a POSIX terminal is needed")


@pytest.mark.parametrize(
    ("typed", "action"),
    [(" ", Toggle()), ("r", Redo()), ("R", Redo()), ("q", Done()), ("m", MarkPressed(3.0))],
)
def test_one_key_is_one_action(typed: str, action: object) -> None:
    assert Controls().feed(typed, 3.0) == [action]


def test_other_keys_do_nothing() -> None:
    assert Controls().feed("xyz17\r\n\t", 0.0) == []


def test_a_mark_counts_at_once_and_its_label_at_the_moment_of_the_press() -> None:
    controls = Controls()
    assert controls.feed("m", 3.0) == [MarkPressed(3.0)]
    assert controls.feed("lime tree\r", 9.0) == []
    assert controls.feed("d", 11.0) == [Label(3.0, "lime tree", "deciduous")]


def test_letters_typed_into_a_label_are_no_commands() -> None:
    controls = Controls()
    controls.feed("m", 0.0)
    assert controls.feed("quarry rim q\rt", 1.0) == [Label(0.0, "quarry rim q", "terrain")]


def test_a_kind_not_chosen_is_other_and_a_wrong_letter_is_asked_again() -> None:
    controls = Controls()
    assert controls.feed("mshed\rz", 0.0) == [MarkPressed(0.0)]
    assert "shed" in controls.prompt
    assert controls.feed("\r", 1.0) == [Label(0.0, "shed", "other")]
    assert controls.prompt == ""


def test_enter_or_escape_leaves_a_mark_without_a_label() -> None:
    for end in ("\r", "\x1b"):
        controls = Controls()
        assert controls.feed("m" + end, 0.0) == [MarkPressed(0.0)]
        assert controls.prompt == ""


def test_backspace_takes_back_a_letter() -> None:
    controls = Controls()
    controls.feed("nsnoq\x7fw", 2.0)
    assert controls.prompt == "note: snow_"
    assert controls.feed("\r", 5.0) == [Remark(2.0, "snow")]


def test_a_label_cannot_grow_without_end() -> None:
    controls = Controls()
    controls.feed("n" + "x" * 500, 0.0)
    (remark,) = controls.feed("\r", 0.0)
    assert len(remark.text) == 60


def test_arrow_and_function_keys_type_nothing() -> None:
    assert plain_keys("a\x1b[A\x1b[1;5Cb\x1bOPc\x1b[15~") == "abc"


@posix
def test_keys_come_one_by_one_without_waiting_for_enter() -> None:
    ours, terminal = os.openpty()
    try:
        with PosixKeyboard(terminal) as keyboard:
            assert keyboard.read() == ""
            os.write(ours, "mž".encode())
            assert keyboard.read() == "mž"
            assert keyboard.read() == ""
    finally:
        os.close(ours)
        os.close(terminal)


@posix
def test_the_terminal_is_left_as_it_was() -> None:
    import termios

    ours, terminal = os.openpty()
    try:
        before = termios.tcgetattr(terminal)
        with PosixKeyboard(terminal):
            assert termios.tcgetattr(terminal) != before
        assert termios.tcgetattr(terminal) == before
    finally:
        os.close(ours)
        os.close(terminal)


def test_without_a_terminal_nobody_types(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    with open_keyboard() as keyboard:
        assert isinstance(keyboard, NoKeyboard)
        assert keyboard.read() == ""


def test_the_windows_console_gives_characters_and_swallows_arrows(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The console hands an arrow key over as two: a lead of 0 or 0xE0, and a code.
    waiting = list("m\xe0Hlime\x00;\r")
    console = SimpleNamespace(kbhit=lambda: bool(waiting), getwch=lambda: waiting.pop(0))
    monkeypatch.setitem(sys.modules, "msvcrt", console)  # type: ignore[arg-type]
    assert WindowsKeyboard().read() == "mlime\r"
    assert WindowsKeyboard().read() == ""
