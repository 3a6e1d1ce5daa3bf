"""Live coverage of a tumble: how far it has come, and which way to turn next."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from calibrated_boards import stream_of

from logger.calibration import TumbleCoverage
from logger.calibration.coverage import sphere_points
from logger.recording.samples import Samples
from logger.simulation import Sensor, simulate_tumble


def in_parts(samples: Samples, rows: int = 50) -> list[TumbleCoverage]:
    coverage, found = TumbleCoverage(), []
    for start in range(0, len(samples), rows):
        coverage = coverage.plus(samples.rows(slice(start, start + rows)))
        found.append(coverage)
    return found


def test_nothing_is_covered_at_first_and_the_advice_names_a_side() -> None:
    nothing = TumbleCoverage()
    assert nothing.share == 0
    assert not nothing.enough
    assert "faces the ground" in nothing.advice()


def test_a_whole_tumble_is_enough_and_never_goes_backwards() -> None:
    tumble = stream_of(simulate_tumble(seed=2, streams="M")).samples
    course = in_parts(tumble)
    assert course[-1].enough
    assert course[-1].share == 1
    gaps = [c.side_gap_deg for c in course]
    assert all(b <= a + 1e-9 for a, b in pairwise(gaps))
    assert not course[5].enough


def covered(gap_deg: float, seconds_s: float) -> TumbleCoverage:
    """Sides and field seen everywhere but within a cap of this radius around the top."""
    lattice = sphere_points()
    angle = np.degrees(np.arccos(-lattice[:, 2]))
    seen = angle > gap_deg
    return TumbleCoverage(seen, 48.0 * sphere_points(300), seconds_s)


def test_a_tumble_goes_on_past_its_shortest_time_until_it_is_well_covered() -> None:
    barely = covered(47.0, 21.0)
    assert 40 < barely.side_gap_deg < 50
    assert not barely.enough
    assert barely.share < 1
    assert "top faces the ground" in barely.advice()
    assert covered(35.0, 21.0).enough


def test_a_long_tumble_may_end_with_less_and_never_with_a_wide_gap() -> None:
    assert covered(47.0, 41.0).enough
    wide = covered(55.0, 300.0)
    assert not wide.enough
    assert "top faces the ground" in wide.advice()


def test_strong_hard_iron_does_not_hide_which_way_the_field_ran() -> None:
    sensor = Sensor(hard_iron_ut=250.0)
    tumble = stream_of(simulate_tumble(sensor=sensor, seed=2, streams="M")).samples
    assert in_parts(tumble)[-1].field_gap_deg < 50
