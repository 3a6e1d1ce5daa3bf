"""Whether a skyline from a file is told closely enough to be one."""

import numpy as np
import pytest

from logger.horizon import HorizonProfile
from logger.sun_range import spacing_check

FIVE, TEN = np.arange(0.0, 360.0, 5.0), np.arange(0.0, 360.0, 10.0)
GAP = FIVE[(FIVE <= 200) | (FIVE >= 230)]
NO_NORTH = FIVE[(FIVE >= 45) & (FIVE <= 315)]
HUT = [0.0, 180.0, 180.0, 190.0, 190.0], [0.0, 0.0, 20.0, 20.0, 0.0]


@pytest.mark.parametrize(
    ("azimuth", "elevation", "latitude", "widest", "words"),
    [
        (GAP, 4.0, 46.0, 30, f"{GAP.size} azimuths and nothing between 200 and 230°"),
        # The sun never crosses the gap, and nearly all or some of it does.
        (NO_NORTH, 4.0, 46.0, 5, ""),
        (NO_NORTH, 4.0, -46.0, 90, "between 315 and 45°"),
        (NO_NORTH, 4.0, 70.0, 90, "between 315 and 45°"),
        # North is no end of the circle, and one point no skyline.
        (FIVE[(FIVE >= 20) & (FIVE <= 340)], 4.0, -40.0, 40, "between 340 and 20°"),
        ([90.0], 3.0, 0.0, None, "1 azimuths"),
        # A stretch with an unmeasured end is bounded as such and does not count.
        (GAP, np.where(GAP == 230, np.nan, 4.0), 46.0, 5, ""),
        (np.sort([*TEN, 180.0, 190.0]), 4.0, 46.0, 10, ""),  # a vertical edge is no gap
        ([0.0], 0.0, 46.0, 0, ""),  # an open horizon takes no points to tell
        (*HUT, 46.0, 10, ""),
    ],
)
def test_gaps_that_the_sun_crosses_are_found_with_their_ends(
    azimuth: np.ndarray, elevation: np.ndarray, latitude: float, widest: float, words: str
) -> None:
    profile = HorizonProfile(azimuth, np.broadcast_to(elevation, np.shape(azimuth)))
    check = spacing_check(profile, latitude)
    assert check.value == widest if widest is not None else check.value > 90
    assert check.passed == (words == "")
    assert words in check.why
