"""A plane's view of the sky against closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.access import sky_view_factor
from logger.horizon import HorizonProfile

EVERY = np.arange(0, 360, 0.5)


def uniform(height):
    return HorizonProfile([0.0], [height])


def wall(h, over):
    """An endless wall's skyline: tan e = tan h cos a, where it stands."""
    return HorizonProfile(EVERY, np.degrees(np.arctan(np.tan(np.radians(h)) * over)))


def cos(degrees):
    return float(np.cos(np.radians(degrees)))


NORTHWARD = np.cos(np.radians(EVERY))


@pytest.mark.parametrize(
    ("horizon", "tilt", "expected", "within"),
    [
        # cos^2 h: a uniform horizon over a level plane
        *((uniform(h), 0, cos(h) ** 2, 1e-9) for h in (0, 5, 10, 15, 20, 30, 45, 60)),
        # (1 + cos b) / 2: no horizon over a tilted plane
        *((uniform(0), b, (1 + cos(b)) / 2, 1e-7) for b in (0, 10, 20, 30, 45, 60, 90)),
        # (1 + cos h) / 2: an endless wall on one side
        *((wall(h, np.maximum(NORTHWARD, 0)), 0, (1 + cos(h)) / 2, 2e-5) for h in (10, 30, 45, 60)),
        # (1 - sin h) / 2: the same wall before an upright plane
        *((wall(h, np.maximum(NORTHWARD, 0)).turned(77), 90, (1 - cos(90 - h)) / 2, 2e-4)
          for h in (10, 30, 45, 60)),
        # cos h: an endless symmetric valley
        *((wall(h, np.abs(NORTHWARD)), 0, cos(h), 4e-5) for h in (10, 30, 45, 60)),
        # 1 - (w / 360) sin^2 h: a sector between vertical edges, wherever it stands
        *((HorizonProfile([33.3, 33.3, 33.3 + w, 33.3 + w], [0, h, h, 0]), 0,
           1 - w / 360 * (1 - cos(h) ** 2), 1e-9)
          for h, w in ((10, 90), (10, 180), (20, 90), (30, 90), (30, 180))),
        # cos b cos^2 h: a uniform horizon at least as high as the plane is tilted
        *((uniform(h), b, cos(b) * cos(h) ** 2, 1e-9)
          for b, h in ((10, 10), (10, 20), (20, 30), (30, 45))),
        # A horizon below level counts as level.
        (uniform(-20), 30, (1 + cos(30)) / 2, 1e-7),
    ],
)  # fmt: skip
def test_the_view_of_the_sky_has_its_closed_form(horizon, tilt, expected, within):
    azimuth = 77 if tilt else 0
    assert sky_view_factor(horizon, tilt, azimuth) == pytest.approx(expected, abs=within)


@given(
    st.lists(st.floats(0, 80), min_size=3, max_size=40),
    st.floats(0, 90),
    st.floats(0, 360),
    st.floats(-720, 720),
)
def test_turning_plane_and_horizon_together_changes_nothing(heights, tilt, azimuth, turn):
    at = np.linspace(0, 360, len(heights), endpoint=False)
    before = sky_view_factor(HorizonProfile(at, heights), tilt, azimuth)
    after = sky_view_factor(HorizonProfile(at, heights).turned(turn), tilt, azimuth + turn)
    assert after == pytest.approx(before, abs=1e-9)
