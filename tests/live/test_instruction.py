import re

import numpy as np
import pytest

from logger.geometry import wrap360
from logger.horizon_fit import Coverage
from logger.live.instruction import DONE, instruction, nothing_seen

CELLS = np.arange(360) + 0.5


def covered(*passes, disagreeing=(), crossed=(60, 300)) -> Coverage:
    """Cells of a degree, each (from, to, count) seen so often; the sun crosses 60 to 300."""
    counts, differ, sun = (np.zeros(360, dtype=int) for _ in range(3))
    for start, end, count in passes:
        counts[start:end] = count
    for start, end in disagreeing:
        differ[start:end] = 1
    sun[slice(*crossed)] = 1
    return Coverage(CELLS, counts, differ.astype(bool), sun.astype(bool))


@pytest.mark.parametrize(
    ("passes", "sight", "going", "words"),
    [
        # Before the first pass: from where one stands, to the further end.
        ((), 100.0, 0, "follow the skyline right to 300°"),
        ((), 250.0, 0, "follow the skyline left to 60°"),
        ((), 20.0, 0, "turn 40° right to 60°, then follow the skyline to 300°"),
        ((), 350.0, 0, "turn 50° left to 300°, then follow the skyline to 60°"),
        # Under way it goes on as it goes, and turns round at the end.
        (((60, 100, 1),), 100.0, 1, "follow the skyline right to 300°"),
        (((60, 100, 1),), 90.0, -1, "follow the skyline left to 60°"),
        (((60, 300, 1),), 299.0, 1, "once more: follow the skyline left to 60°"),
        (((60, 300, 1),), 302.0, 1, "once more: follow the skyline left to 60°"),
        (((60, 200, 1), (200, 300, 2)), 204.0, -1, "once more: follow the skyline left to 60°"),
        # A hole is gone to by the shorter way.
        (((60, 300, 2), (200, 231, 0)), 300.0, 1,
         "turn 69° left to 231°, then follow the skyline to 200°"),
        (((60, 300, 2), (200, 231, 0)), 100.0, 0,
         "turn 100° right to 200°, then follow the skyline to 231°"),
        (((60, 300, 2), (200, 231, 0)), 212.0, -1, "follow the skyline left to 200°"),
        # Of two holes the nearer one, not the wider one.
        (((60, 300, 2), (70, 80, 0), (200, 260, 0)), 100.0, 0,
         "turn 20° left to 80°, then follow the skyline to 70°"),
        # No sight: no way, but what is wanted.
        (((60, 300, 2), (200, 231, 0)), float("nan"), 0, "follow the skyline over 200 to 231°"),
    ],
)  # fmt: skip
def test_the_next_thing_to_do_can_be_obeyed_from_where_one_stands(
    passes, sight: float, going: int, words: str
) -> None:
    assert instruction(covered(*passes), sight, going).words == words


def test_what_the_final_checks_would_pass_is_not_asked_for() -> None:
    for passes in (
        [(60, 300, 2)],
        [(60, 300, 2), (100, 103, 0)],  # 3 degrees may be missing
        [(60, 300, 2), (100, 110, 1)],  # 10 may have been seen once
    ):
        coverage = covered(*passes)
        assert all(check.passed for check in coverage.checks)
        assert instruction(coverage, 180.0).done
        assert instruction(coverage, 180.0).words == DONE
    for passes in ([(60, 300, 2), (100, 104, 0)], [(60, 300, 2), (100, 111, 1)]):
        assert not all(check.passed for check in covered(*passes).checks)
        assert not instruction(covered(*passes), 180.0).done


def test_passes_that_differ_are_traced_again_but_not_for_ever() -> None:
    twice = covered((60, 300, 2), disagreeing=[(100, 120)])
    asked = instruction(twice, 90.0)
    assert asked.words == "passes differ: turn 10° right to 100°, then follow the skyline to 120°"
    often = covered((60, 300, 4), disagreeing=[(100, 120)])
    ended = instruction(often, 90.0)
    assert ended.done
    assert ended.words.startswith("passes still differ at 100 to 120°: end here")
    assert instruction(covered((60, 300, 2), disagreeing=[(100, 109)]), 90.0).words == DONE


def test_a_part_over_north_is_one_part() -> None:
    south = covered((0, 360, 2), crossed=(0, 360))
    passes = south.passes.copy()
    passes[350:] = passes[:10] = 0
    hole = Coverage(CELLS, passes, south.disagreeing, south.sun_crossed)
    assert instruction(hole, 20.0).words == "turn 10° left to 10°, then follow the skyline to 350°"
    assert instruction(hole, 0.0, 1).words == "follow the skyline right to 10°"


def test_what_lies_near_the_sun_is_left_for_later() -> None:
    near = np.zeros(360, dtype=bool)
    near[160:200] = True
    coverage = covered((60, 150, 2), (210, 300, 2))
    assert instruction(coverage, 100.0, 0, near).words == (
        "turn 50° right to 150°, then follow the skyline to 160°"
    )
    left = instruction(covered((60, 165, 2), (195, 300, 2)), 100.0, 0, near)
    assert left.words == "leave 165 to 195° for later: the sun is there"
    assert not left.done


def test_before_the_first_sample_the_suns_range_follows_from_the_latitude() -> None:
    # At 46 degrees the sun rises and sets at most 35 degrees off east and west:
    # cos A = sin 23.44 / cos 46.
    wanted = np.degrees(np.arccos(np.sin(np.radians(23.44)) / np.cos(np.radians(46.0))))
    (sector,) = instruction(nothing_seen(46.0), 180.0).missing
    assert sector.from_azimuth_deg == pytest.approx(wanted, abs=1.5)
    assert sector.to_azimuth_deg == pytest.approx(360 - wanted, abs=1.5)


@pytest.mark.parametrize("start", [0.0, 60.0, 180.0, 275.0])
def test_an_operator_who_obeys_comes_to_an_end_and_passes_the_checks(start: float) -> None:
    counts, sight, going, steps = np.zeros(360, dtype=int), start, 0, 0
    crossed = np.zeros(360, dtype=bool)
    crossed[60:300] = True
    none = np.zeros(360, dtype=bool)
    while not (asked := instruction(Coverage(CELLS, counts, none, crossed), sight, going)).done:
        steps += 1
        assert steps < 1000, asked.words
        if turn := re.search(r"turn (\d+)° (left|right)", asked.words):
            sight = float(wrap360(sight + (1 if turn[2] == "right" else -1) * int(turn[1])))
            continue
        way = re.search(r"follow the skyline (left|right)", asked.words)
        assert way is not None, asked.words
        going = 1 if way[1] == "right" else -1
        counts[int(sight) % 360] += 1
        sight = float(wrap360(sight + going))
    assert all(check.passed for check in Coverage(CELLS, counts, none, crossed).checks)
    assert steps < 700  # two passes are 480 degrees
