"""What has no name is told by the azimuths that its own outline spans."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access.outline import outline_cuts
from logger.access.surroundings import names_of
from logger.arrays import Floats
from logger.geometry import angle_between, wrap360
from logger.horizon import HorizonProfile, Obstruction

BLOCKS = ((80, 106, 25.0), (122, 145, 20.0), (340, 20, 12.0))


def street(turned_deg: float = 0.0) -> HorizonProfile:
    """Blocks with upright sides over hills of three degrees."""
    azimuth = [float(a) for start, end, _ in BLOCKS for a in (start, start, end, end)]
    elevation = [e for *_, top in BLOCKS for e in (3.0, top, top, 3.0)]
    return HorizonProfile(np.add(azimuth, turned_deg), elevation)


@given(st.floats(0, 360))
def test_each_block_of_a_street_is_a_part_of_its_own_wherever_north_is(turned_deg: float) -> None:
    found = outline_cuts(street(turned_deg))
    ends = wrap360(np.array([end for block in BLOCKS for end in block[:2]]) + turned_deg)
    assert len(found) == len(ends)
    apart = np.abs(angle_between(found[:, None], ends[None, :])).min(axis=0)
    assert (apart <= 1.0).all()


def hills(azimuth: Floats) -> Floats:
    return 6.0 + 1.5 * np.sin(np.radians(3 * azimuth))


@pytest.mark.parametrize(
    ("what", "elevation"),
    [
        ("a level plain", lambda a: 0.0 * a),
        ("a ridge all round", lambda a: 0.0 * a + 15.0),
        ("rolling hills", hills),
        ("an unsteady hand", lambda a: 8.0 + np.random.default_rng(1).normal(0, 0.3, a.size)),
        ("chimneys on a roof", lambda a: 20.0 + 3.0 * ((a > 90) & (a < 93))),
    ],
)
def test_what_does_not_stand_out_is_not_cut(what: str, elevation) -> None:  # type: ignore[no-untyped-def]
    azimuth = np.arange(0.0, 360.0)
    assert outline_cuts(HorizonProfile(azimuth, elevation(azimuth))).size == 0, what


def test_what_has_a_name_keeps_its_own_ends() -> None:
    names = names_of([Obstruction("shed", 81.0, 105.0, "building")], outline_cuts(street()))
    assert [s.name for s in names.stretches if s.name != "shed"] == [
        "20 to 81°",
        "105 to 122°",
        "122 to 145°",
        "145 to 340°",
        "340 to 20°",
    ]
