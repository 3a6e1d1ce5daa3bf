import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from firmware_protocol import Attitude, Key, Piece, Sound, encode
from logger.live.session import LiveSession
from logger.orientation import CompassCorrection, Corrections
from logger.recording import StreamBuilder
from logger.sun import sun_track

from .conftest import CORRECTIONS, SITE, STARTED, Chunks, board_chunks

DECLINATION = CORRECTIONS.declination.value_deg


class Followed:
    """A builder and the session that follows it."""

    def __init__(self, corrections: Corrections = CORRECTIONS, started: dt.datetime = STARTED):
        self.builder = StreamBuilder()
        self.session = LiveSession(self.builder, corrections, SITE, started)
        self.seq = 0
        self.now = 0.0

    def point(self, heading_deg: float, pitch_deg: float, seconds: float = 0.02) -> None:
        """Hold the sight in a magnetic direction for a time, at 50 samples a second."""
        for _ in range(round(seconds / 0.02)):
            self.now += 0.02
            self.seq += 1
            heading, pitch = round(heading_deg % 360 * 100) % 36000, round(pitch_deg * 100)
            row = Attitude(self.seq, round(self.now * 1000), heading, 0, pitch, 1)
            self._feed(encode(row))

    def pan(self, from_deg: float, to_deg: float, seconds: float, pitch_deg: float = 5.0) -> None:
        for heading in np.linspace(from_deg, to_deg, round(seconds / 0.02)):
            self.point(float(heading), pitch_deg)
            self.session.advance()

    def press(self, key: int, seconds: float = 0.1) -> None:
        for down in (True, False):
            self._feed(encode(Key(self.seq, round(self.now * 1000), key, down)))
            self.now += seconds

    def _feed(self, sentence: bytes) -> None:
        self.session.take(self.builder.feed(self.now, sentence), self.now)

    def view(self):
        return self.session.view(self.now, self.now)


def test_the_view_shows_the_true_direction_of_the_last_whole_sample() -> None:
    sweep = Followed()
    sweep.point(100.0, 7.5, 1.0)
    view = sweep.view()
    assert view.azimuth_deg == pytest.approx(100.0 + DECLINATION, abs=0.01)
    assert view.elevation_deg == pytest.approx(7.5)
    assert view.newest_seq == 49  # the 50th may still grow
    assert view.samples == 50


def test_speed_and_rate_are_those_of_the_sight_and_the_board() -> None:
    sweep = Followed()
    sweep.pan(100.0, 140.0, 4.0, pitch_deg=0.0)
    view = sweep.view()
    assert view.speed_deg_s == pytest.approx(10.0, rel=0.05)
    assert view.rate_hz == pytest.approx(50.0, rel=0.05)


def test_before_the_first_sample_everything_is_unknown_and_nothing_fails() -> None:
    view = Followed().view()
    assert np.isnan(view.azimuth_deg)
    assert not view.sun_near
    assert view.coverage is None


def test_the_sight_is_near_the_sun_within_25_degrees_of_it() -> None:
    when = np.array([STARTED.replace(tzinfo=None)], "datetime64[ns]")
    sun = sun_track(when, SITE)
    azimuth = float(sun.azimuth_deg[0]) - DECLINATION
    for off, near in ((0.0, True), (24.0, True), (26.0, False), (180.0, False)):
        sweep = Followed()
        sweep.point(azimuth + off, float(sun.elevation_deg[0]), 0.2)
        assert sweep.view().sun_near is near, off


def test_at_night_no_sight_is_near_the_sun() -> None:
    sweep = Followed(started=STARTED.replace(hour=0))
    sweep.point(60.0, 0.0, 0.2)
    assert sweep.view().sun is None
    assert not sweep.view().sun_near


def test_trigger_and_mark_keys_are_counted_when_they_go_down() -> None:
    sweep = Followed()
    sweep.point(100.0, 5.0, 0.5)
    sweep.press(1)
    sweep.press(2)
    assert sweep.session.triggers == 1
    assert sweep.view().marks == 1
    assert not sweep.session.redo_asked


def test_a_mark_key_held_down_asks_for_a_redo() -> None:
    sweep = Followed()
    sweep.press(2, seconds=1.6)
    assert sweep.session.redo_asked


def test_a_mark_that_ends_a_still_hold_is_good_and_one_in_motion_is_not() -> None:
    sweep = Followed()
    sweep.point(100.0, 5.0, 2.0)
    sweep.session.mark(sweep.now)
    sweep.point(100.0, 5.0, 0.8)
    sweep.session.advance()
    assert sweep.session.judge_holds(sweep.now) == [True]
    assert sweep.session.judge_holds(sweep.now) == []
    sweep.pan(100.0, 120.0, 2.0)
    sweep.session.mark(sweep.now)
    sweep.pan(120.0, 130.0, 0.8)
    assert sweep.session.judge_holds(sweep.now) == [False]
    view = sweep.view()
    assert (view.marks, view.held) == (2, 1)


def test_a_mark_is_not_judged_before_the_hold_is_over() -> None:
    sweep = Followed()
    sweep.point(100.0, 5.0, 2.0)
    sweep.session.mark(sweep.now)
    sweep.session.advance()
    assert sweep.session.judge_holds(sweep.now + 0.1) == []


def test_a_redo_drops_what_was_swept_since_the_last_turn() -> None:
    sweep = Followed()
    sweep.pan(100.0, 160.0, 4.0)
    sweep.pan(160.0, 120.0, 3.0)
    start, end = sweep.session.redo(sweep.now)
    assert start == pytest.approx(4.0, abs=0.2)
    assert end == sweep.now
    sight = sweep.session.passes()[-1].sight
    dropped = (sight.t_s >= start) & (sight.t_s <= end)
    assert not sight.used[dropped].any()
    assert sight.used[~dropped].all()


def test_a_second_redo_reaches_back_to_the_first_no_further() -> None:
    sweep = Followed()
    sweep.pan(100.0, 160.0, 4.0)
    first = sweep.session.redo(sweep.now)
    sweep.pan(160.0, 180.0, 2.0)
    assert sweep.session.redo(sweep.now) == (first[1], sweep.now)


def test_time_never_runs_backwards_whatever_the_link_delays() -> None:
    builder = StreamBuilder()
    session = LiveSession(builder, CORRECTIONS, SITE, STARTED)
    for i in range(200):
        late = 0.05 if (i // 20) % 2 else 0.0
        row = Attitude(i, i * 20, 10000, 0, 500, 1)
        builder.feed(i * 0.02 + late, encode(row))
        session.advance()
    assert (np.diff(session.passes()[-1].sight.t_s) >= 0).all()


def test_a_long_sweep_keeps_every_row_however_often_it_is_summed_up() -> None:
    sweep = Followed()
    for i in range(700):
        sweep.point(100.0 + i * 0.1, 5.0)
        sweep.session.advance()
        if i % 50 == 0:
            sweep.session.passes()
    assert len(sweep.session.passes()[-1].sight) == 699
    assert sweep.session.recent() is not None


@pytest.fixture(scope="module")
def still_raw() -> Chunks:
    return board_chunks("bearing")


def test_the_field_is_watched_against_the_calibration(still_raw: Chunks) -> None:
    builder = StreamBuilder()
    for t, chunk in still_raw:
        builder.feed(t, chunk)
        if t > 3:
            break
    raw = builder.samples()
    size = float(np.linalg.norm(raw.field_ut, axis=1).mean())
    down = -(raw.field_ut * raw.force_g).sum(axis=1) / np.linalg.norm(raw.force_g, axis=1)
    dip = float(np.degrees(np.arcsin(down / np.linalg.norm(raw.field_ut, axis=1))).mean())

    def state(field_ut: float, dip_deg: float):
        compass = CompassCorrection(field_ut=field_ut, dip_deg=dip_deg)
        session = LiveSession(builder, replace(CORRECTIONS, compass=compass), SITE, STARTED)
        return session.view(3.0, 3.0).field

    assert not state(size, dip).flagged
    odd = state(size / 1.04, dip)
    assert (odd.flagged, odd.rejected) == (True, False)
    assert odd.strength_off == pytest.approx(0.04, abs=0.01)
    assert state(size / 1.15, dip).rejected
    assert state(size, dip - 7.0).rejected


def test_without_a_calibration_nothing_is_said_of_the_field() -> None:
    sweep = Followed()
    sweep.point(100.0, 5.0, 0.5)
    assert np.isnan(sweep.view().field.strength_off)
    assert not sweep.view().field.rejected


def test_pieces_that_are_no_keys_press_nothing() -> None:
    sweep = Followed()
    pieces: list[Piece] = [Sound(b"", Attitude(1, 20, 0, 0, 0, 1))]
    sweep.session.take(pieces, 0.0)
    assert sweep.session.triggers == 0
