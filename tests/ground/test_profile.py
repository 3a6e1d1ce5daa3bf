"""A horizon profile reads periodically, keeps its edges and never invents a value."""

import numpy as np
import pytest

from logger.horizon import HorizonProfile, Obstruction


def test_rows_may_come_in_any_order():
    p = HorizonProfile([270, 90, 0, 180], [3, 1, 0, 2])
    assert list(p.azimuth_deg) == [0, 90, 180, 270]
    assert p.elevation_at([45, 315, 359.999]) == pytest.approx([0.5, 1.5, 0], abs=1e-3)


def test_a_gap_is_open_blocked_or_unknown_as_the_caller_says():
    p = HorizonProfile([0, 90, 180, 270], [5, 5, np.nan, 5])
    assert list(p.known) == [True, True, False, True]
    assert p.elevation_at(180) == 0
    assert p.elevation_at(180, unmeasured_deg=90) == 90
    assert np.isnan(p.elevation_at(180, unmeasured_deg=np.nan))
    assert not p.measured_at(135)
    assert p.measured_at(45)


def test_turning_carries_the_obstructions_along():
    p = HorizonProfile([0, 90], [1, 2], obstructions=(Obstruction("oak", 350, 20, "deciduous"),))
    turned = p.turned(15)
    assert turned.elevation_at(105) == pytest.approx(2)
    assert (turned.obstructions[0].from_azimuth_deg, turned.obstructions[0].to_azimuth_deg) == (
        5,
        35,
    )


@pytest.mark.parametrize(
    ("azimuth", "elevation"), [([], []), ([0, np.nan], [1, 2]), ([0, 1], [1]), ([0, 1], [1, 91])]
)
def test_nonsense_is_refused(azimuth, elevation):
    with pytest.raises(ValueError, match=r"horizon|shape|elevation"):
        HorizonProfile(azimuth, elevation)


def test_filling_a_gap_steps_at_its_ends():
    p = HorizonProfile(
        [0, 90, 180, 270], [5, 5, np.nan, 7], [0.1, 0.2, np.nan, 0.3], distance_m=[4, 4, 4, 4]
    )
    for fill in (0.0, 90.0):
        filled = p.filled(fill)
        assert filled.known.all()
        assert filled.elevation_at([89.9, 90.1, 180, 269.9, 270.1]) == pytest.approx(
            [5, fill, fill, fill, 7], abs=0.01
        )
        assert filled.elevation_at(45) == 5
    assert p.filled(0.0).filled(90.0).elevation_at(180) == 0


def test_nodes_know_the_first_obstruction_they_belong_to():
    named = (Obstruction("oak", 80, 200), Obstruction("fir", 150, 280))
    p = HorizonProfile([0, 90, 180, 270], [5, 5, 5, 5], obstructions=named)
    assert p.names_at_nodes() == ["", "oak", "oak", "fir"]
