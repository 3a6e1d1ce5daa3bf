"""One rotation covers every attitude: level, steep, rolled, upside down."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from logger.geometry import (
    angle_between,
    angles_of,
    attitude_from_vectors,
    attitude_matrix,
    direction_of,
    running_product,
    unit_vector,
)

heading = st.floats(0, 359.99)
tilt = st.floats(-179, 179)
pitch = st.floats(-89, 89)


@given(heading, tilt, pitch)
def test_attitude_comes_back_from_its_matrix(h, r, p):
    got = angles_of(attitude_matrix(h, r, p))
    assert angle_between(got[0], h) == pytest.approx(0, abs=1e-6)
    assert got[1] == pytest.approx(r, abs=1e-6)
    assert got[2] == pytest.approx(p, abs=1e-6)


@given(heading, tilt, pitch)
def test_the_line_of_sight_points_where_heading_and_pitch_say_whatever_the_tilt(h, r, p):
    azimuth, elevation = direction_of(attitude_matrix(h, r, p)[:, 0])
    assert angle_between(azimuth, h) == pytest.approx(0, abs=1e-6)
    assert elevation == pytest.approx(p, abs=1e-6)


@given(heading, tilt, pitch, st.floats(-80, 80))
def test_field_and_gravity_give_the_attitude_back_at_any_dip(h, r, p, dip):
    to_body = attitude_matrix(h, r, p).T
    field = to_body @ np.array([np.cos(np.radians(dip)), 0, np.sin(np.radians(dip))])
    force = to_body @ np.array([0.0, 0.0, -1.0])
    got = angles_of(attitude_from_vectors(field, force))
    assert angle_between(got[0], h) == pytest.approx(0, abs=1e-5)
    assert got[1] == pytest.approx(r, abs=1e-5)
    assert got[2] == pytest.approx(p, abs=1e-5)


def test_at_rest_and_level_the_specific_force_is_minus_one_g_along_z():
    # The wire contract: "at rest and level it is 0, 0, -1 g"; right side down is positive tilt, and
    # the support then pushes towards the left: the force along y is -sin(tilt).
    level = attitude_matrix(0, 0, 0).T @ np.array([0, 0, -1.0])
    assert level == pytest.approx([0, 0, -1])
    tilted = attitude_matrix(0, 30, 0).T @ np.array([0, 0, -1.0])
    assert tilted == pytest.approx([0, -0.5, -np.sqrt(0.75)])
    pitched = attitude_matrix(0, 0, 30).T @ np.array([0, 0, -1.0])
    assert pitched == pytest.approx([0.5, 0, -np.sqrt(0.75)])


def test_no_attitude_without_a_field():
    assert np.isnan(attitude_from_vectors([0.0, 0, 0], [0, 0, -1.0])).any()


@given(heading, st.floats(-89, 89))
def test_directions_come_back_from_their_vectors(a, e):
    azimuth, elevation = direction_of(unit_vector(a, e))
    assert angle_between(azimuth, a) == pytest.approx(0, abs=1e-6)
    assert elevation == pytest.approx(e, abs=1e-9)


@given(st.integers(1, 40), st.integers(0, 2**32 - 1))
def test_a_running_product_is_one_turn_after_the_other_as_scipy_multiplies(count, seed):
    turns = Rotation.random(count, np.random.default_rng(seed))
    so_far, expected = Rotation.identity(), []
    for turn in turns:
        so_far = so_far * turn
        expected.append(so_far.as_quat())
    # Quaternions of both signs stand for one rotation.
    alike = np.abs(np.sum(running_product(turns.as_quat()) * np.array(expected), axis=-1))
    assert np.allclose(alike, 1.0, atol=1e-12)
