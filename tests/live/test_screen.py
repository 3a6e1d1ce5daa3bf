import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from logger.live.display import LineDisplay, ScreenDisplay, open_display
from logger.live.screen import LINES, large, screen, status_line
from logger.live.state import Caution, Counts, Figure, HorizonSoFar, LiveState, Seen

SIZES = [(80, 24), (60, 24), (60, 16), (132, 50), (40, 10), (20, 6)]
LOOK_AWAY = Caution("sun", "LOOK AWAY: the sun is 5° off; leave this part for later")
KEYS = "space pause   p press   r redo   n note   q end"


def half_seen() -> HorizonSoFar:
    """North through east to south seen once, 12 degrees high; the sun crosses 55 to 305."""
    elevation = np.full(360, np.nan)
    elevation[:180] = 12.0
    seen = np.full(360, int(Seen.SUNLESS))
    seen[55:180], seen[180:305] = Seen.ONCE, Seen.MISSING
    return HorizonSoFar(elevation, seen)


HALF = LiveState(
    title="barn · eave",
    to_do="follow the skyline right to 305°",
    figures=(Figure("azimuth", 187.4, "°"), Figure("elevation", -12.3, "°")),
    azimuth_deg=187.4,
    elevation_deg=11.0,
    horizon=half_seen(),
    facts=(
        "roll 2° right   tremor 0.3°   sun 80° off",
        "of the sun's range 50 % missing, 50 % once, 0 % twice",
        "solar access 62 to 98 %   2 presses, 1 held still",
        "magnetic field undisturbed: +1 %, dip +0.2°",
    ),
    short="solar access 62 to 98 %",
    elapsed_s=61.0,
    counts=Counts(3050, 50.0, 0, 0, 3049),
    keys=KEYS,
)
EMPTY = LiveState(title="barn · eave", to_do="waiting for the board")
SILENT = replace(HALF, warnings=(Caution("silence", "nothing from the board for 9 s"),))
TUMBLE = LiveState(
    title="barn · compass",
    to_do="turn the board so that its top faces the ground",
    figures=(Figure("turned", 43.0, "%", 0),),
    counts=Counts(100, 50.0),
)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_screen_fills_any_terminal_exactly(width: int, height: int) -> None:
    for state in (EMPTY, HALF, SILENT, TUMBLE):
        lines = screen(state, width, height).plain.split("\n")
        assert len(lines) == height
        assert max(len(line) for line in lines) <= width


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 24)])
def test_what_must_be_known_is_on_the_smallest_terminal(width: int, height: int) -> None:
    text = screen(HALF, width, height).plain
    for words in ("barn · eave", "elevation", HALF.to_do, KEYS, "recording 1:01", "50 Hz"):
        assert words in text, words
    for fact in HALF.facts:
        for part in fact.split("   "):
            assert part in text, part
    assert any(row in text for row in large("187.4"))
    assert "█" in text


def test_a_board_that_does_not_fit_stands_in_the_first_line() -> None:
    wrong = replace(HALF, board="the compass calibrations are of other boards (0007)")
    first = screen(wrong, 80, 24).plain.split("\n")[0]
    assert wrong.board in first
    assert "recording 1:01" in first


def test_the_horizon_and_the_strip_stand_over_each_other() -> None:
    lines = screen(HALF, 80, 24).plain.split("\n")
    at = next(i for i, line in enumerate(lines) if line.startswith("seen "))
    strip, points = lines[at][5:], lines[at + 1][5:]
    assert points.index("E") < points.index(" S ")
    assert strip[points.index("SE")] == "▒"  # seen once
    assert strip[points.index("SW")] == "·"  # missing
    assert strip[points.index("NW") + 4] == " "  # the sun never gets there
    above = [line[5:].ljust(75) for line in lines[at - 6 : at]]
    assert "".join(line[points.index("SW")] for line in above).strip() == ""
    assert any(line[points.index("SE")] != " " for line in above)
    sight = next(line.index("+") for line in above if "+" in line)
    assert sight == pytest.approx(points.index(" S ") + 1 + 7.4 / 360 * 75, abs=1.5)


def test_a_column_shows_the_worst_and_the_highest_of_its_cells() -> None:
    seen, elevation = np.full(360, int(Seen.TWICE)), np.full(360, 5.0)
    seen[101], elevation[103] = Seen.MISSING, 40.0
    coarse = HorizonSoFar(elevation, seen).in_columns(36, 180.0)
    assert coarse.seen[10] == Seen.MISSING
    assert coarse.elevation_deg[10] == 40.0
    assert set(np.delete(coarse.seen, 10).tolist()) == {Seen.TWICE}
    turned = HorizonSoFar(elevation, seen).in_columns(36, 0.0)
    assert turned.seen[28] == Seen.MISSING  # the first column begins at 180


def test_the_elevation_axis_bears_round_tens() -> None:
    for height in (24, 30, 40):
        lines = screen(HALF, 80, height).plain.split("\n")
        labels = [line[:4].strip() for line in lines if line[:4].strip().endswith("°")]
        tens = [int(label[:-1]) for label in labels if label[:-1].isdigit()]
        assert tens == sorted(range(10, max(tens) + 1, 10), reverse=True)


def test_in_the_south_north_stands_in_the_middle() -> None:
    text = screen(replace(HALF, middle_deg=0.0), 80, 24).plain
    points = next(line for line in text.split("\n") if " NE " in line)
    assert points.index("NW") < points.index(" N ") < points.index("NE")


def test_a_question_takes_the_place_of_the_keys() -> None:
    last = screen(replace(HALF, prompt="note: sn_"), 80, 24).plain.split("\n")[-1]
    assert last == "note: sn_"


def test_between_two_points_the_answer_stands_in_the_horizons_place() -> None:
    answer = ("eave, 41 s after it was opened:", "From 9 to 15 h the sun is in sight.")
    text = screen(replace(HALF, phase="waiting", panel=answer), 80, 24).plain
    assert answer[1] in text
    assert not any(line.startswith("seen ") for line in text.split("\n"))


@pytest.mark.parametrize("elapsed_s", [5.0, 99999.0])
@pytest.mark.parametrize("rate_hz", [5.0, 1000.0])
def test_a_line_leaves_parts_out_but_cuts_no_number(elapsed_s: float, rate_hz: float) -> None:
    line = status_line(replace(HALF, elapsed_s=elapsed_s, counts=Counts(rate_hz=rate_hz)))
    assert len(line) <= 80
    assert line.endswith("solar access 62 to 98 %")
    for words in ("azimuth 187.4°", "elevation -12.3°", "seen 50 %"):
        assert words in line
    assert "nothing from the board for 9 s" in status_line(SILENT)


def test_lines_say_what_to_do_when_more_than_its_numbers_change() -> None:
    lines: list[str] = []
    display = LineDisplay(lines.append)
    nearer = replace(HALF, to_do="follow the skyline right to 300°")
    for state in (HALF, HALF, nearer, replace(HALF, warnings=(LOOK_AWAY,))):
        display.show(state)
    advised = [line.strip() for line in lines if line.startswith("        ")]
    assert advised == [HALF.to_do, LOOK_AWAY.words]


def written(no_color: bool) -> str:
    file = io.StringIO()
    console = Console(
        file=file, force_terminal=True, width=80, height=24, no_color=no_color,
        color_system="standard", legacy_windows=False, _environ={"TERM": "xterm"},
    )  # fmt: skip
    with open_display(console, print) as display:
        display.say("the link is back")
        display.show(replace(HALF, warnings=(LOOK_AWAY,), message="the link is back"))
    return file.getvalue()


def test_no_colour_means_no_colour_and_loses_no_words() -> None:
    plain, coloured = written(True), written(False)
    assert "\x1b[1;7;31m" in coloured
    assert ";31" not in plain
    assert "\x1b[33m" not in plain
    for text in (plain, coloured):
        assert "LOOK AWAY" in text
        assert text.count("the link is back") == 2  # on the screen, and after it is gone


def test_the_screen_gives_the_terminal_back() -> None:
    text = written(True)
    assert text.index("\x1b[?1049h") < text.index("barn · eave") < text.index("\x1b[?1049l")


@pytest.mark.parametrize(("term", "kind"), [("xterm", ScreenDisplay), ("dumb", LineDisplay)])
def test_a_terminal_that_cannot_move_its_cursor_gets_lines(
    term: str, kind: type, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", term)
    console = Console(file=io.StringIO(), force_terminal=True)
    with open_display(console, lambda _line: None) as display:
        assert isinstance(display, kind)
    with open_display(Console(file=io.StringIO()), lambda _line: None) as display:
        assert isinstance(display, LineDisplay)


def test_large_figures_are_five_lines_of_one_width() -> None:
    for text in ("187.4", "-12.3", "    -", "0.0"):
        lines = large(text)
        assert len(lines) == LINES
        assert len({len(line) for line in lines}) == 1
    assert len({tuple(large(str(d))) for d in range(10)}) == 10
