"""What is said while a calibration is recorded: it fits what the person is doing just then."""

from collections.abc import Callable

import pytest

from logger.live.calibration_task import CalibrationTask
from logger.live.guide import END, Guide
from logger.recording import read_recording
from logger.simulation import simulate_bearing, simulate_level, simulate_plane, simulate_tumble

from .conftest import STARTED, Bench, Chunks

MakeBench = Callable[..., Bench]


def told(bench: Bench, how: str, seconds: float = 120.0) -> list[str]:
    """What was to be done, each time it changed."""
    bench.display.every_s = 0.5
    bench.record(CalibrationTask(bench.job, how, {}), seconds)
    words = [state.to_do for state in bench.display.states]
    return [a for a, b in zip(words, ["", *words], strict=False) if a != b]


def in_order(words: list[str], wanted: list[str]) -> None:
    at = 0
    for one in wanted:
        at = next((i for i in range(at, len(words)) if one in words[i]), -1)
        assert at >= 0, f"{one!r} is missing or out of order in {words}"


def level(streams: str, pairs: int = 3) -> Chunks:
    return simulate_level(seed=2, streams=streams, pairs=pairs, started=STARTED).chunks


@pytest.mark.parametrize("streams", ["MG", "A"])
def test_a_level_leads_from_face_to_face_until_there_are_three_of_each(
    bench: MakeBench, streams: str
) -> None:
    taken = bench(level(streams))
    words = told(taken, "level")
    in_order(
        words,
        [
            "hold still: 2 of 4 s",
            "good, upright 1, rolled over 0: roll the board over",
            "hold still: 2 of 4 s",
            "good, upright 1, rolled over 1: turn it upright again",
            "good, upright 3, rolled over 2: roll the board over",
            END,
        ],
    )
    assert b"$PHLGU,DONE" in taken.link.sent
    assert taken.link.sent.count(b"$PHLGU,GOOD") >= 2


def test_one_pair_of_faces_is_not_called_enough(bench: MakeBench) -> None:
    words = told(bench(level("MG", pairs=1)), "level")
    assert not any(END in one for one in words)


@pytest.mark.parametrize("streams", ["MG", "A"])
def test_a_bearing_leads_from_hold_to_press_to_turn(bench: MakeBench, streams: str) -> None:
    sights = simulate_bearing((63.0, 1.2), seed=2, streams=streams, started=STARTED)
    words = told(bench(sights.chunks), "target")
    in_order(
        words,
        ["hold still: 2 of 3 s", "good, 1 of 3: turn once round", "good, 2 of 3: turn once", END],
    )
    assert not any(END in one for one in words[: len(words) // 2])


def test_a_press_while_moving_is_told_not_to_count(bench: MakeBench) -> None:
    tumble = simulate_tumble(seed=2, streams="MG", started=STARTED).chunks
    taken = bench(tumble, [(9.0, "p")])
    told(taken, "target", 12.0)
    assert "that press came while moving: hold still first, then press" in taken.display.said
    assert taken.display.states[-1].figures[-1].value == 0


def test_along_the_shadow_every_line_says_not_to_look(bench: MakeBench) -> None:
    sights = simulate_bearing(seed=2, streams="MG", started=STARTED)
    taken = bench(sights.chunks)
    told(taken, "sun", 15.0)
    assert all(state.short == "never look at the sun" for state in taken.display.states)
    assert all("never look at the sun" in state.facts for state in taken.display.states)


def test_a_tumble_says_which_side_is_next_and_ends_when_it_has_enough(bench: MakeBench) -> None:
    taken = bench(simulate_tumble(seed=2, streams="MG", started=STARTED).chunks)
    words = told(taken, "compass")
    assert words[0].startswith("leave the board lying")
    assert any("faces the ground" in one for one in words)
    assert words[-1] == "enough: put the board down"
    assert b"$PHLGU,DONE" in taken.link.sent
    assert taken.clock.now_s < 41
    assert read_recording(taken.recordings[0]).sealed
    assert taken.display.states[-1].figures[0].value == pytest.approx(100.0)


def test_a_board_that_lies_is_to_be_left_lying(bench: MakeBench) -> None:
    words = told(bench(simulate_plane(30, 180, seed=2, started=STARTED).chunks), "plane")
    in_order(words, ["leave it lying: 2 of", "good, 1 of 2: turn it end for end"])


def test_nothing_received_is_not_held_still() -> None:
    guide = Guide("target")
    assert guide.to_do == "sight the target and hold still"
    assert not guide.enough
