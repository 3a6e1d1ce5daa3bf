from dataclasses import replace

import numpy as np
import pytest

from logger.horizon_fit import Coverage, RunningHorizon
from logger.live.guidance import CueBook, advice, shares, to_do, wide
from logger.live.running import RunningAnswer
from logger.live.session import FieldState, LiveView

CELLS = np.arange(360) + 0.5


def view_of(passes, disagreeing=None, crossed=(60, 300), **more) -> LiveView:
    """A view with a coverage of one-degree cells; sun-crossed from one azimuth to another."""
    counts = np.zeros(360, dtype=int)
    for start, end, count in passes:
        counts[start:end] = count
    differ = np.zeros(360, dtype=bool)
    if disagreeing:
        differ[slice(*disagreeing)] = True
    sun = np.zeros(360, dtype=bool)
    sun[slice(*crossed)] = True
    height = np.where(counts > 0, 5.0, np.nan)
    horizon = RunningHorizon(CELLS, height, Coverage(CELLS, counts, differ, sun))
    running = RunningAnswer(horizon, None, None)  # type: ignore[arg-type]
    return LiveView(elapsed_s=10.0, running=running, **more)


def test_what_is_missing_is_named_where_the_sun_crosses_it_only() -> None:
    words, (sector,) = to_do(view_of([(0, 200, 2), (231, 360, 2)]))
    assert words == "go back to 200 to 231°"
    assert (sector.from_azimuth_deg, sector.to_azimuth_deg) == (200.0, 231.0)
    assert to_do(view_of([(60, 300, 2)])) == ("", ())


def test_disputed_parts_come_after_missing_ones_and_before_those_seen_once() -> None:
    seen = [(60, 250, 2), (250, 300, 1)]
    assert to_do(view_of(seen))[0] == "seen once, sweep again over 250 to 300°"
    assert to_do(view_of(seen, (100, 120)))[0] == "passes disagree, trace again 100 to 120°"
    missing = [*seen, (70, 80, 0)]
    assert to_do(view_of(missing, (100, 120)))[0] == "go back to 70 to 80°"


def test_nobody_is_ever_asked_for_a_full_turn() -> None:
    words, sectors = to_do(view_of([]))
    assert len(sectors) == 2
    assert max(s.width_deg for s in sectors) <= 120.0
    assert sum(s.width_deg for s in sectors) == pytest.approx(240.0)
    assert words == "go back to 60 to 180° and 180 to 300°"


def test_a_sector_over_north_is_one_sector() -> None:
    cells = np.zeros(360, dtype=bool)
    cells[:10] = cells[350:] = True
    (sector,) = wide(cells)
    assert (sector.from_azimuth_deg, sector.to_azimuth_deg) == (350.0, 10.0)


def test_slivers_are_not_worth_going_back_for() -> None:
    assert to_do(view_of([(60, 300, 2), (100, 101, 0)])) == ("", ())


def test_what_lies_near_the_sun_is_left_for_later() -> None:
    seen = [(60, 150, 2), (210, 300, 2)]
    words, _ = to_do(view_of(seen, sun=(180.0, 20.0)))
    # At 12 to 15 degrees below the sun the circle of 25 degrees is some 22 degrees of azimuth wide.
    assert words.startswith("go back to")
    assert "180" not in words
    later, _ = to_do(view_of([(60, 165, 2), (195, 300, 2)], sun=(180.0, 20.0)))
    assert later == "leave 165 to 195° for later: the sun is there"


def test_a_high_sun_keeps_nobody_from_the_skyline() -> None:
    words, _ = to_do(view_of([(60, 165, 2), (195, 300, 2)], sun=(180.0, 60.0)))
    assert words == "go back to 165 to 195°"


def test_danger_goes_before_advice() -> None:
    calm = view_of([(60, 300, 2)])
    assert advice(calm) == ("all seen twice: done", False)
    shaking = replace(calm, tremor_deg=1.4)
    assert advice(shaking) == ("the sight shakes by 1.4°: wait, or come down", True)
    sun = replace(shaking, sun_deg=12.0)
    assert advice(sun)[0].startswith("LOOK AWAY: the sun is 12° off")
    assert advice(replace(sun, silent_s=4.0))[0].startswith("nothing from the board for 4 s")
    other = replace(sun, elapsed_s=4.0, instead="800 bytes, no sentence: another speed or device")
    assert advice(other) == ("800 bytes, no sentence: another speed or device", True)
    iron = replace(calm, field=FieldState(0.2, 0.0, True, True))
    assert advice(iron) == ("the field is disturbed here: keep away from iron", True)


def test_shares_are_of_what_the_sun_crosses() -> None:
    coverage = view_of([(0, 120, 1), (120, 180, 2)]).coverage
    assert coverage is not None
    assert shares(coverage) == pytest.approx((0.5, 0.25, 0.25))


def test_a_cue_that_goes_on_is_not_repeated_at_every_picture() -> None:
    book, near = CueBook(), view_of([], sun_deg=10.0)
    played = [book.cues(near, t / 10) for t in range(61)]
    assert [i for i, cues in enumerate(played) if "SUN" in cues] == [0, 30, 60]


def test_each_kind_of_trouble_has_its_cue() -> None:
    assert CueBook().cues(view_of([], tremor_deg=1.5), 0.0) == ["REDO"]
    iron = FieldState(0.2, 0.0, True, True)
    assert CueBook().cues(view_of([], field=iron), 0.0) == ["FIELD"]
    assert CueBook().cues(view_of([]), 0.0, holds=[True, False]) == ["GOOD", "REDO"]
    assert CueBook().cues(view_of([]), 0.0, redone=True) == ["REDO"]


def test_done_is_played_once_when_nothing_is_left_to_do() -> None:
    book, done = CueBook(), view_of([(60, 300, 2)])
    assert book.cues(done, 0.0) == ["DONE"]
    assert book.cues(done, 60.0) == []
    assert book.cues(view_of([(60, 300, 1)]), 61.0) == []
    assert book.cues(done, 62.0) == ["DONE"]


def test_nothing_is_done_before_anything_was_seen() -> None:
    assert CueBook().cues(LiveView(elapsed_s=1.0), 1.0) == []
    assert advice(LiveView(elapsed_s=1.0)) == ("trace the skyline, feet still", False)
