"""The virtual board sends what the wire contract says, byte for byte."""

from dataclasses import replace

import numpy as np
import pytest

from firmware_protocol import (
    Attitude,
    Configure,
    Decoder,
    Fault,
    Identity,
    Query,
    RawField,
    RawRate,
    Sound,
    encode,
)
from logger.errors import UsageError
from logger.simulation import (
    BoardSettings,
    Operator,
    Sensor,
    Simulated,
    scene_named,
    simulate_plane,
    simulate_sweep,
)
from logger.simulation.board import board_attitude, fits_link
from logger.simulation.serve import Running
from logger.simulation.tasks import Task


def decoded(sent: bytes) -> tuple[list[object], Decoder]:
    decoder = Decoder()
    pieces = decoder.feed(sent)
    assert all(isinstance(piece, Sound) for piece in pieces)
    return [piece.sentence for piece in pieces], decoder


@pytest.fixture(scope="module")
def sweep() -> Simulated:
    operator = replace(Operator(), sectors=((0.0, 120.0),))
    return simulate_sweep(scene_named("street", 1), operator, seed=2)


def test_the_codec_takes_every_sentence_and_writes_it_the_same(sweep: Simulated) -> None:
    sentences, decoder = decoded(sweep.sent)
    assert decoder.refused == {}
    assert decoder.lost == 0
    assert b"".join(map(encode, sentences)) == sweep.sent


def test_sentences_of_one_instant_share_their_counter_and_clock(sweep: Simulated) -> None:
    for _, text in sweep.chunks[:200]:
        sentences, _ = decoded(text)
        kinds = [s for s in sentences if isinstance(s, (Attitude, RawField, RawRate))]
        assert [type(s) for s in kinds] == [Attitude, RawField, RawRate]
        assert len({(s.seq, s.t_ms) for s in kinds}) == 1


def test_raw_values_are_the_sensors_in_wire_units(sweep: Simulated) -> None:
    sentences, _ = decoded(sweep.sent)
    fields = [s for s in sentences if isinstance(s, RawField)]
    rates = [s for s in sentences if isinstance(s, RawRate)]
    m = sweep.measured
    sent_ut = np.array([(s.mx, s.my, s.mz) for s in fields]) / 100
    sent_g = np.array([(s.fx, s.fy, s.fz) for s in fields]) / 10_000
    sent_rate = np.array([(s.gx, s.gy, s.gz) for s in rates]) / 100
    assert np.abs(sent_ut - m.field_ut).max() <= 0.005 + 1e-9
    assert np.abs(sent_g - m.force_g).max() <= 0.00005 + 1e-9
    assert np.abs(sent_rate - m.rate_deg_s).max() <= 0.005 + 1e-9


def test_the_board_computes_its_attitude_from_its_own_uncorrected_sensors() -> None:
    clean = simulate_plane(20.0, 200.0, Sensor.ideal()).measured
    dirty = simulate_plane(20.0, 200.0, Sensor(3)).measured
    assert board_attitude(clean)[2] == pytest.approx(20.0)
    assert abs(board_attitude(dirty)[0].mean() - board_attitude(clean)[0].mean()) > 3


def test_identity_is_said_at_the_start_and_every_five_seconds(sweep: Simulated) -> None:
    said = [t for t, text in sweep.chunks if b"$PHLGI" in text]
    assert said[0] < 0.1
    assert np.diff(said) == pytest.approx(5.0, abs=0.03)
    assert len(said) == int(sweep.duration_s // 5) + 1


def test_counter_and_clock_wrap_around() -> None:
    settings = BoardSettings(start_seq=65_500, start_ms=2**32 - 1000)
    done = simulate_plane(settings=settings)
    sentences, decoder = decoded(done.sent)
    assert decoder.lost == 0
    seqs = [s.seq for s in sentences if isinstance(s, RawField)]
    clocks = [s.t_ms for s in sentences if isinstance(s, RawField)]
    assert (seqs[35], seqs[36]) == (65_535, 0)
    assert min(clocks) < 30 < 2**32 - 1000 <= max(clocks)


def test_receive_times_never_decrease_and_lag_by_the_link() -> None:
    done = simulate_plane()
    times = np.array([t for t, _ in done.chunks])
    assert (np.diff(times) >= 0).all()
    # 141 bytes or more at 115200 baud take 12 ms.
    assert 0.010 < np.median(times - done.t_s) < 0.025


@pytest.mark.parametrize(("streams", "rate_hz"), [("A", 200), ("M", 100), ("AMG", 20)])
def test_streams_and_rate_are_as_asked(streams: str, rate_hz: int) -> None:
    settings = BoardSettings(link_baud=None)
    done = simulate_plane(streams=streams, rate_hz=rate_hz, settings=settings)
    sentences, _ = decoded(done.sent)
    kinds = {"A": Attitude, "M": RawField, "G": RawRate}
    for letter, kind in kinds.items():
        count = sum(isinstance(s, kind) for s in sentences)
        assert (count > 0) == (letter in streams)
        if count:
            assert count == pytest.approx(5.8 * rate_hz, abs=2)


def test_settings_above_85_percent_of_the_link_are_refused() -> None:
    assert fits_link(50, "AMG", 115_200)
    assert not fits_link(100, "AMG", 115_200)
    assert fits_link(100, "AMG", None)
    # A plain count on a full-length sentence: $PHLGM of 66 bytes, 10 bits a byte, 200 Hz.
    assert not fits_link(200, "M", 115_200)
    with pytest.raises(UsageError, match="fills more than 85%"):
        BoardSettings(streams="AMG", rate_hz=200)
    with pytest.raises(UsageError, match="outside 1 to 200"):
        BoardSettings(rate_hz=0)
    with pytest.raises(UsageError, match="letters AMG"):
        BoardSettings(streams="AX")


def a_board() -> Running:
    more = {"tilt_deg": 20.0, "azimuth_deg": 180.0, "seconds_s": 6.0}
    return Running(Task("plane", seed=1, more=more))


def test_a_query_is_answered_with_the_identity() -> None:
    board = a_board()
    (answer,), _ = decoded(board.hear(encode(Query()), 1.0))
    assert answer == board.task.settings.identity()


def test_new_settings_take_hold_at_once_and_the_counter_goes_on() -> None:
    board = a_board()
    before, _ = decoded(board.due(2.0))
    (answer,), _ = decoded(board.hear(encode(Configure(100, "M")), 2.0))
    assert isinstance(answer, Identity)
    assert (answer.rate_hz, answer.streams) == (100, "M")
    after, _ = decoded(board.due(1e9))
    assert not any(isinstance(s, (Attitude, RawRate)) for s in after)
    last = next(s for s in reversed(before) if isinstance(s, RawField))
    fields = [s for s in after if isinstance(s, RawField)]
    assert fields[0].seq == last.seq + 1
    assert 0 < fields[0].t_ms - last.t_ms <= 25
    assert np.diff([s.t_ms for s in fields]).max() <= 11


def test_settings_the_link_cannot_carry_are_refused_with_a_fault_and_nothing_changes() -> None:
    board = a_board()
    (answer,), _ = decoded(board.hear(encode(Configure(200, "AMG")), 1.0))
    assert isinstance(answer, Fault)
    assert answer.code == "CONFIG"
    assert board.task.settings.rate_hz == 50


def test_a_magnet_beside_the_board_drives_an_axis_to_its_end_and_the_board_says_so() -> None:
    done = simulate_plane(sensor=replace(Sensor(2), hard_iron_ut=1500.0), seconds_s=3.0)
    assert np.abs(done.measured.field_ut).max() == 800.0
    sentences, _ = decoded(done.sent)
    faults = [s for s in sentences if isinstance(s, Fault)]
    assert {(f.code, f.text) for f in faults} == {("RANGE", "magnetometer")}
    assert len(faults) == 4  # once a second
    assert {s.status for s in sentences if isinstance(s, Attitude)} == {3}
