import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from logger.access import Plane, SiteYear
from logger.horizon import HorizonProfile
from logger.live.digits import LINES, large
from logger.live.display import LineDisplay, ScreenDisplay, open_display
from logger.live.running import Worker, running_answer
from logger.live.screen import KEYS, Frame, screen, status_line, window_words
from logger.live.session import LiveSession, LiveView
from logger.recording import StreamBuilder
from logger.settings import Settings
from logger.simulation import Operator

from .conftest import CORRECTIONS, SITE, STARTED, board_chunks

EMPTY = LiveView(elapsed_s=0.0)
SIZES = [(80, 24), (60, 24), (60, 16), (132, 50), (40, 10), (20, 6)]


@pytest.fixture(scope="module")
def year() -> SiteYear:
    return SiteYear(SITE, (Plane("roof", 35.0, 180.0),), Settings(draws=0))


@pytest.fixture(scope="module")
def half_swept(year: SiteYear) -> LiveView:
    """North through east to south, seen once."""
    operator = replace(Operator.calm(), sectors=((0.0, 180.0),), passes=1, hand_g=0.0)
    builder = StreamBuilder()
    session = LiveSession(builder, CORRECTIONS, SITE, STARTED)
    t = 0.0
    for t, chunk in board_chunks(scene="street", operator=operator):
        builder.feed(t, chunk)
    session.advance()
    return session.view(t, t, running_answer(session.passes(), year, SITE.latitude_deg))


@pytest.mark.parametrize("unicode", [True, False])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_screen_fills_any_terminal_exactly(
    half_swept: LiveView, width: int, height: int, unicode: bool
) -> None:
    for view in (EMPTY, half_swept, replace(half_swept, silent_s=9.0)):
        lines = screen(view, Frame("barn · eave"), width, height, unicode).plain.split("\n")
        assert len(lines) == height
        assert max(len(line) for line in lines) <= width


@pytest.mark.parametrize(("width", "height"), [(80, 24), (60, 24)])
def test_what_must_be_known_is_on_the_smallest_terminal(
    half_swept: LiveView, width: int, height: int
) -> None:
    text = screen(half_swept, Frame("barn · eave"), width, height).plain
    told = "barn · eave|azimuth|elevation|go back to|lean|tremor|sun|sun-crossed|access so far"
    for words in f"{told}|field|50 Hz|space start/stop".split("|"):
        assert words in text, words
    assert any(row in text for row in large(f"{half_swept.azimuth_deg:5.1f}"))
    assert "▅" in text or "█" in text


def test_the_window_is_clear_so_far_only_where_all_of_it_was_seen(year: SiteYear) -> None:
    azimuth = np.arange(0.0, 360.0, 2.0)
    seen = np.zeros(azimuth.size)
    level = year.assess(HorizonProfile(azimuth, seen))
    assert window_words(level) == "9 to 15 h clear so far"
    gap = year.assess(HorizonProfile(azimuth, np.where(abs(azimuth - 180) < 10, np.nan, seen)))
    assert window_words(gap) == "9 to 15 h not all seen yet"


def test_without_block_characters_the_same_is_told_in_ascii(half_swept: LiveView) -> None:
    text = screen(half_swept, Frame("barn"), 80, 24, unicode=False).plain
    beyond = {c for c in text if ord(c) > 126}
    assert beyond <= {"°"}


def test_the_skyline_and_the_strip_stand_over_each_other(half_swept: LiveView) -> None:
    lines = screen(half_swept, Frame("barn"), 80, 24).plain.split("\n")
    strip = next(line for line in lines if line.startswith("seen "))[5:]
    at = lines.index(next(line for line in lines if line.startswith("seen ")))
    points = lines[at + 1][5:]
    assert points.index("E") < points.index(" S ")
    assert strip[points.index("SE")] == "▒"  # seen once
    assert strip[points.index("SW")] == "·"  # missing
    assert strip[points.index("NW") + 4] == " "  # the sun never gets there
    bars = "".join(line[5:].ljust(75)[points.index("SW")] for line in lines[at - 8 : at])
    assert bars.strip("+ ") == ""
    assert any(line[5:].ljust(75)[points.index("SE")] != " " for line in lines[at - 8 : at])


def test_the_elevation_axis_bears_round_tens(half_swept: LiveView) -> None:
    for height in (24, 30, 40):
        lines = screen(half_swept, Frame("barn"), 80, height).plain.split("\n")
        labels = [line[:4].strip() for line in lines if line[:4].strip().endswith("°")]
        tens = [int(label[:-1]) for label in labels if label[:-1].isdigit()]
        assert tens == sorted(range(10, max(tens) + 1, 10), reverse=True)


def test_the_cell_of_the_sun_is_marked(half_swept: LiveView) -> None:
    near = replace(half_swept, sun=(135.0, 10.0))
    text = screen(near, Frame("barn"), 80, 24).plain
    strip = next(line for line in text.split("\n") if line.startswith("seen "))
    assert "*" in strip
    far = replace(half_swept, sun=(135.0, 80.0))
    assert "*" not in screen(far, Frame("barn"), 80, 24).plain


def test_in_the_south_north_stands_in_the_middle(half_swept: LiveView) -> None:
    text = screen(half_swept, Frame("barn", middle_deg=0.0), 80, 24).plain
    points = next(line for line in text.split("\n") if " NE " in line)
    assert points.index("NW") < points.index(" N ") < points.index("NE")


def test_a_question_takes_the_place_of_the_keys(half_swept: LiveView) -> None:
    last = screen(half_swept, Frame("b", prompt="note: sn_"), 80, 24).plain.split("\n")[-1]
    assert last == "note: sn_"
    assert screen(half_swept, Frame("b"), 80, 24).plain.split("\n")[-1] == KEYS


def test_between_two_points_the_answer_stands_in_the_skylines_place(half_swept: LiveView) -> None:
    answer = ("eave, 41 s after it was opened:", "9 to 15 solar time is clear in every month.")
    text = screen(half_swept, Frame("b", "trigger opens", panel=answer), 80, 24).plain
    assert answer[1] in text
    assert "seen " not in text.replace("seen once", "").replace("sun-crossed", "")


def test_the_line_is_short_enough_and_tells_what_a_screen_would(half_swept: LiveView) -> None:
    line = status_line(half_swept)
    assert len(line) <= 80
    for words in ("azimuth", "elevation", "lean", "50 Hz", "seen", "access"):
        assert words in line
    assert "nothing from the board for 3 s" in status_line(replace(half_swept, silent_s=3.0))


@pytest.mark.parametrize("elapsed_s", [5.0, 99999.0])
@pytest.mark.parametrize("rate_hz", [5.0, 1000.0])
def test_a_line_leaves_parts_out_but_cuts_no_number(
    half_swept: LiveView, elapsed_s: float, rate_hz: float
) -> None:
    assert half_swept.running is not None
    access = half_swept.running.access
    (plane,) = access.planes
    clear = replace(plane, solar_access=replace(plane.solar_access, value=np.ones(13)))
    running = replace(half_swept.running, access=replace(access, planes=(clear,)))
    line = status_line(
        replace(
            half_swept, running=running, elapsed_s=elapsed_s, rate_hz=rate_hz,
            azimuth_deg=359.9, elevation_deg=-12.3, lean_deg=-175.0,
        )
    )  # fmt: skip
    assert line.endswith("access 100 %")
    assert len(line) <= 80


def test_what_is_no_board_is_not_called_silence() -> None:
    other = "12 sentences, none with a heading: another device"
    view = LiveView(elapsed_s=6.0, silent_s=0.2, instead=other)
    assert status_line(view) == f"    6 s  {other}"
    assert other in screen(view, Frame("b"), 80, 24).plain
    assert other not in status_line(replace(view, elapsed_s=1.0))


def test_lines_say_what_to_do_when_it_changes(half_swept: LiveView) -> None:
    lines: list[str] = []
    display = LineDisplay(lines.append)
    for view in (half_swept, half_swept, replace(half_swept, sun_deg=5.0)):
        display.show(view, Frame("b"))
    advised = [line for line in lines if line.startswith("        ")]
    assert len(lines) == 5
    assert "go back to" in advised[0]
    assert "LOOK AWAY" in advised[1]


def written(no_color: bool, half_swept: LiveView) -> str:
    file = io.StringIO()
    console = Console(
        file=file, force_terminal=True, width=80, height=24, no_color=no_color,
        color_system="standard", legacy_windows=False,
    )  # fmt: skip
    with ScreenDisplay(console) as display:
        display.say("the link is back")
        display.show(replace(half_swept, sun_deg=5.0), Frame("barn · eave"))
    return file.getvalue()


def test_no_colour_means_no_colour_and_loses_no_words(half_swept: LiveView) -> None:
    plain, coloured = written(True, half_swept), written(False, half_swept)
    assert "\x1b[1;7;31m" in coloured
    assert ";31" not in plain
    assert "\x1b[33m" not in plain
    for text in (plain, coloured):
        assert "LOOK AWAY" in text
        assert text.count("the link is back") == 2  # on the screen, and after it is gone


def test_the_screen_gives_the_terminal_back(half_swept: LiveView) -> None:
    text = written(True, half_swept)
    assert text.index("\x1b[?1049h") < text.index("barn · eave") < text.index("\x1b[?1049l")


@pytest.mark.parametrize(("term", "kind"), [("xterm", ScreenDisplay), ("dumb", LineDisplay)])
def test_a_terminal_that_cannot_move_its_cursor_gets_lines(
    term: str, kind: type, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", term)
    console = Console(file=io.StringIO(), force_terminal=True)
    opened = open_display(console, lambda _line: None)
    with opened as display:
        assert isinstance(display, kind)
    with open_display(Console(file=io.StringIO()), lambda _line: None) as display:
        assert isinstance(display, LineDisplay)


def test_large_figures_are_five_lines_of_one_width() -> None:
    for text in ("187.4", "-12.3", "    -", "0.0"):
        lines = large(text)
        assert len(lines) == LINES
        assert len({len(line) for line in lines}) == 1
    assert len({tuple(large(str(d))) for d in range(10)}) == 10


def test_the_answer_so_far_takes_what_is_unseen_as_open(
    half_swept: LiveView, year: SiteYear
) -> None:
    assert half_swept.running is not None
    known = half_swept.running.profile.known
    assert 0.45 < known.mean() < 0.55
    assert half_swept.running.access.planes[0].solar_access.annual < 0.99
    assert running_answer([], year, SITE.latitude_deg) is None


def test_a_fault_in_the_running_answer_is_kept_and_stops_nothing_else() -> None:
    def fail() -> None:
        raise ArithmeticError("no answer")

    worker = Worker(fail).start()
    worker.close()
    assert isinstance(worker.fault, ArithmeticError)
    assert worker.latest is None


def test_the_worker_works_at_least_twice_a_second_and_ends_when_told() -> None:
    from threading import Event

    rounds, enough = 0, Event()

    def compute() -> None:
        nonlocal rounds
        rounds += 1
        if rounds == 3:
            enough.set()

    worker = Worker(compute, every_s=0.01).start()
    assert enough.wait(timeout=30)
    worker.close()
    ended = rounds
    assert rounds == ended
