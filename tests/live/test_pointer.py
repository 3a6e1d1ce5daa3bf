from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from firmware_protocol import Attitude, encode
from logger.access import Interval
from logger.calibration import fit_compass
from logger.geometry import unit_vector
from logger.live.pointer import Pointer, Sighting, tremor_deg
from logger.live.sweep_state import (
    access_words,
    cautions,
    field_words,
    horizon_so_far,
    near_sun,
    seen_by_now,
    seen_words,
    sight_words,
    sun_direction,
)
from logger.orientation import CompassCorrection, Corrections, field_expected_at, orient
from logger.recording import StreamBuilder
from logger.simulation import Operator, Sensor, simulate_sweep, simulate_tumble
from logger.simulation import scene_named as scene
from logger.sun import sun_track

from .conftest import CORRECTIONS, SITE, STARTED, Chunks, board_chunks
from .test_instruction import covered

DECLINATION = CORRECTIONS.declination.value_deg


def held(azimuth_deg: float, elevation_deg: float, seconds: float = 2.0) -> Pointer:
    """A board without gyro held in a true direction, at 50 samples a second."""
    builder = StreamBuilder()
    for i in range(round(seconds * 50)):
        heading = round((azimuth_deg - DECLINATION) % 360 * 100) % 36000
        row = Attitude(i, 20 * i, heading, 0, round(elevation_deg * 100), 1)
        builder.feed(i / 50, encode(row))
    found = Sighting(builder).now(CORRECTIONS)
    assert found is not None
    return found


def followed(chunks: Chunks, corrections: Corrections = CORRECTIONS) -> list[tuple[int, Pointer]]:
    """The sight ten times a second, each with the row that it is of."""
    builder, found, next_s = StreamBuilder(), [], 1.0
    sighting = Sighting(builder)
    for t, chunk in chunks:
        builder.feed(t, chunk)
        if t >= next_s:
            next_s += 0.1
            here = sighting.now(corrections)
            assert here is not None
            found.append((len(builder) - 2, here))
    return found


def test_it_is_the_true_direction_of_the_last_whole_sample() -> None:
    here = held(100.0, 7.5)
    assert here.azimuth_deg == pytest.approx(100.0, abs=0.01)
    assert here.elevation_deg == pytest.approx(7.5)
    assert here.newest_seq == 98  # the 100th may still grow
    assert here.turning_deg_s == 0.0
    assert Sighting(StreamBuilder()).now(CORRECTIONS) is None


@pytest.mark.parametrize(
    ("hand", "limit_deg"), [(Operator.calm(), 0.5), (Operator.brisk(), 1.8)], ids=["calm", "brisk"]
)
def test_a_calibrated_board_is_shown_where_the_finished_sweep_will_have_it(
    hand: Operator, limit_deg: float
) -> None:
    board = Sensor(individual=1)
    tumble = StreamBuilder()
    for t, chunk in simulate_tumble(sensor=board, started=STARTED, streams="MG").chunks:
        tumble.feed(t, chunk)
    field = field_expected_at(SITE, STARTED.date())
    compass = fit_compass(tumble.samples(), field).correction
    corrections = replace(CORRECTIONS, compass=compass, field=field)
    hand = replace(hand, passes=1, sectors=((60.0, 160.0),))
    chunks = simulate_sweep(scene("street", 1), hand, board, started=STARTED).chunks
    builder = StreamBuilder()
    for t, chunk in chunks:
        builder.feed(t, chunk)
    whole = orient(builder.samples(), corrections).sight
    rows, shown = zip(*followed(chunks, corrections), strict=True)
    truth = unit_vector(whole.azimuth_deg[list(rows)], whole.elevation_deg[list(rows)])
    here = unit_vector([p.azimuth_deg for p in shown], [p.elevation_deg for p in shown])
    off = np.degrees(np.arccos(np.clip((truth * here).sum(axis=1), -1, 1)))
    assert np.percentile(off[40:], 95) < limit_deg


def test_how_it_turns_is_told_with_its_side() -> None:
    sweeps = board_chunks(operator=replace(Operator.calm(), sectors=((100.0, 140.0),), passes=2))
    speeds = [here.turning_deg_s for _, here in followed(sweeps)]
    assert max(speeds) > 3 > -3 > min(speeds)
    first, last = speeds.index(max(speeds)), speeds.index(min(speeds))
    assert first < last  # clockwise first


def test_how_long_the_sight_is_held_still() -> None:
    assert held(100.0, 5.0, 3.0).still_s == pytest.approx(3.0, abs=0.3)
    moving = board_chunks(operator=replace(Operator.calm(), sectors=((60.0, 120.0),), passes=1))
    assert max(here.still_s for _, here in followed(moving)[40:80]) < 1.5


def test_the_sun_is_near_within_25_degrees_of_the_sight() -> None:
    sun = sun_direction(SITE, STARTED)
    assert sun is not None
    for off, near in ((0.0, True), (24.0, True), (26.0, False), (180.0, False)):
        found = cautions(held(sun[0] + off, sun[1]), sun)
        assert [caution.kind for caution in found] == (["sun"] if near else []), off
    assert sun_direction(SITE, STARTED.replace(hour=0)) is None
    assert cautions(held(sun[0], sun[1]), None) == ()


def test_the_skyline_near_the_sun_is_where_it_stands_within_25_degrees() -> None:
    coverage = covered()
    height = np.full(360, 12.0)
    low = near_sun(coverage, height, (180.0, 20.0))
    assert low[180]
    # cos 25 = sin 20 sin 12 + cos 20 cos 12 cos A: A = 24.8 degrees.
    assert 23 <= low.sum() / 2 <= 26
    assert not near_sun(coverage, height, (180.0, 60.0)).any()
    assert not near_sun(coverage, height, None).any()


@pytest.fixture(scope="module")
def still_raw() -> StreamBuilder:
    builder = StreamBuilder()
    for t, chunk in board_chunks("bearing"):
        if t < 3:
            builder.feed(t, chunk)
    return builder


def test_the_magnetic_field_is_held_against_the_calibration(still_raw: StreamBuilder) -> None:
    raw = still_raw.samples()
    size = float(np.linalg.norm(raw.field_ut, axis=1).mean())
    down = -(raw.field_ut * raw.force_g).sum(axis=1) / np.linalg.norm(raw.force_g, axis=1)
    dip = float(np.degrees(np.arcsin(down / np.linalg.norm(raw.field_ut, axis=1))).mean())

    def here(field_ut: float, dip_deg: float) -> Pointer:
        compass = CompassCorrection(field_ut=field_ut, dip_deg=dip_deg)
        found = Sighting(still_raw).now(replace(CORRECTIONS, compass=compass))
        assert found is not None
        return found

    good = here(size, dip)
    assert cautions(good, None) == ()
    assert field_words(good).startswith("magnetic field undisturbed: +0 %")
    for bad in (here(size / 1.1, dip), here(size, dip - 4.0)):
        assert [caution.kind for caution in cautions(bad, None)] == ["field"]
        assert "disturbed" in field_words(bad)
    assert field_words(held(100.0, 5.0)) == "magnetic field: compass not calibrated"


def swept(scene_name: str, operator: Operator) -> list[float]:
    """Tremor along a sweep, ten times a second."""
    chunks = board_chunks(scene=scene_name, operator=operator)
    return [tremor_deg(here.sight) for _, here in followed(chunks)[20:]]


@pytest.mark.parametrize("operator", [Operator.calm(), Operator.brisk()], ids=["calm", "brisk"])
@pytest.mark.parametrize("name", ["ridge", "street-with-mast"])
def test_a_steady_hand_is_never_told_to_come_down(name: str, operator: Operator) -> None:
    assert np.nanmax(swept(name, replace(operator, passes=1, sectors=((60.0, 160.0),)))) < 1.0


def test_a_hand_that_shakes_by_two_degrees_mostly_is() -> None:
    shaky = replace(Operator.calm(), tremor_deg=2.0, sectors=((60.0, 120.0),), passes=1)
    found = [here for _, here in followed(board_chunks(scene="street", operator=shaky))[20:]]
    told = [[caution.kind for caution in cautions(here, None)] for here in found]
    assert np.mean(["tremor" in kinds for kinds in told]) > 0.7


@pytest.mark.parametrize("hour", range(24))
def test_the_sun_is_there_from_rise_to_set(hour: int) -> None:
    moment = STARTED.replace(hour=hour)
    when = np.array([moment.replace(tzinfo=None)], "datetime64[ns]")
    elevation = float(sun_track(when, SITE).elevation_deg[0])
    assert (sun_direction(SITE, moment) is not None) == (elevation > 0)


@pytest.mark.parametrize(
    ("roll_deg", "told"),
    [(12.0, "roll 12° right"), (-7.0, "roll 7° left"), (np.nan, "roll -  ")],
)
def test_the_roll_is_told_with_its_side(roll_deg: float, told: str) -> None:
    here = held(100.0, 5.0)
    sight = replace(here.sight, roll_deg=np.full(len(here.sight), roll_deg))
    rolled = replace(here, found=replace(here.found, sight=sight))
    assert sight_words(rolled, None).startswith(told)


def test_what_is_missing_and_what_was_seen_once_are_told_apart() -> None:
    # The sun crosses 60 to 300 degrees: a quarter missing, a half seen once, a quarter twice.
    seen = horizon_so_far(
        covered((120, 240, 1), (240, 300, 2)), np.full(360, 5.0), np.zeros(360, dtype=bool)
    )
    assert seen_words(seen) == "of the sun's range 25 % missing, 50 % once, 25 % twice"
    at_the_sun = horizon_so_far(
        covered((120, 240, 1), (240, 300, 2)), np.full(360, 5.0), np.ones(360, dtype=bool)
    )
    assert seen_words(at_the_sun) == (
        "of the sun's range 0 % missing, 0 % once, 25 % twice, 75 % at the sun"
    )


def test_what_was_swept_since_the_last_estimate_was_seen_once_more() -> None:
    here, before = held(100.0, 5.0), covered((0, 110, 1))
    way = np.linspace(100.0, 120.0, len(here.sight))
    swept = replace(here, found=replace(here.found, sight=replace(here.sight, azimuth_deg=way)))
    more = seen_by_now(before, 0.0, swept).passes - before.passes
    assert set(more) == {0, 1}
    assert np.flatnonzero(more)[[0, -1]] == pytest.approx([100, 119], abs=1)
    assert seen_by_now(before, 9.0, swept) is seen_by_now(before, 0.0, None) is before


def test_the_answer_so_far_is_told_with_its_interval() -> None:
    known, unknown = Interval(0.854, 0.81, 0.89), Interval(np.nan, 0.62, 0.94)
    told = access_words(SimpleNamespace(solar_access=(known, unknown)))  # type: ignore[arg-type]
    assert told == "solar access 85 % (81 to 89 %), 62 to 94 %"
    assert access_words(None) == ""
