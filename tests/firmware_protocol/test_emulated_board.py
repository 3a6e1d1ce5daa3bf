"""The firmware's own ELF on an emulated chip: what it sends, what it obeys, what it survives."""

import itertools
import json
import subprocess
from pathlib import Path

import emulated_board
import pytest
from click.testing import CliRunner
from emulated_board import from_host

import firmware_protocol
from firmware_protocol import (
    Attitude,
    Configure,
    Cue,
    Decoder,
    Fault,
    Identity,
    Key,
    Query,
    RawField,
    RawRate,
    Sound,
    check,
    encode,
    framed,
)

VECTORS = json.loads((Path(firmware_protocol.__file__).parent / "vectors.json").read_bytes())
RESTING = "0 2000 -300 4500 0 0 -10000 0 0 0 230\n"


class Heard:
    """What a host makes of the bytes of a run."""

    def __init__(self, run):
        self.decoder = Decoder()
        pieces = self.decoder.feed(run.sent)
        self.figures = run.figures
        self.sentences = [piece.sentence for piece in pieces if isinstance(piece, Sound)]
        self.unsound = [piece for piece in pieces if not isinstance(piece, Sound)]

    def all(self, kind):
        return [sentence for sentence in self.sentences if isinstance(sentence, kind)]

    def faults(self):
        return [(fault.code, fault.text) for fault in self.all(Fault)]

    def between(self, kind, start_ms, end_ms):
        return [s for s in self.all(kind) if start_ms <= s.t_ms < end_ms]


@pytest.fixture
def hear(board):
    def run(seconds, *events, motion=RESTING):
        return Heard(emulated_board.run(board, seconds, motion, events))

    return run


def configured(text):
    """A $PHLGC with sound checks whatever its fields."""
    body = b"PHLGC," + text
    return framed(b"%s,%04X" % (body, check(body)))


def test_the_chip_passes_the_vectors(board):
    done = subprocess.run(
        [board / "emulate", board / "vectors.elf", "--output", "-"],
        capture_output=True,
        text=True,
        check=True,
    )
    cases = int(done.stdout.split()[0])
    assert cases > 180
    assert done.stdout == f"{cases} cases, 0 differ\n"


def test_three_streams_at_50_hz_without_a_lost_byte(hear):
    heard = hear(10.0)
    assert heard.unsound == []
    assert heard.decoder.lost == 0
    for kind in (Attitude, RawField, RawRate):
        assert [s.seq for s in heard.all(kind)] == list(range(499))
        assert [s.t_ms for s in heard.all(kind)] == [20 * (seq + 1) for seq in range(499)]
    assert heard.faults() == []


def test_room_to_spare(hear, board):
    turning = "".join(
        f"{t} {2000 * (-1) ** (t // 500)} -2300 4500 -1234 4321 -9876 -12345 -23456 -34567 -123\n"
        for t in range(0, 5000, 500)
    )
    heard = hear(5.0, motion=turning)
    figures = heard.figures
    sizes = subprocess.run(
        ["avr-size", board / "horizon-logger.elf"], capture_output=True, text=True, check=True
    )
    text_bytes, data_bytes = map(int, sizes.stdout.splitlines()[1].split()[:2])
    assert text_bytes + data_bytes <= 32_768 / 2
    assert figures["ram_bytes"] == 2048
    assert figures["statics_bytes"] + figures["stack_bytes"] <= 2048 * 3 / 4
    assert figures["busy_share_at_400_khz"] < 0.5
    assert figures["bytes_sent"] / figures["simulated_s"] < 0.85 * 11_520
    assert heard.decoder.lost == 0


def test_measurements_come_through_in_the_contracts_axes(hear):
    motion = "0 -2990 141 3752 2045 367 -9782 -1200 4550 10030 231\n"
    heard = hear(1.0, motion=motion)
    field, rate, attitude = (heard.all(kind)[-1] for kind in (RawField, RawRate, Attitude))
    # one count of the chip is 0.18 uT, 0.061 mg, 0.0153 deg/s
    for got, exposed in zip((field.mx, field.my, field.mz), (-2990, 141, 3752), strict=True):
        assert abs(got - exposed) <= 10
    for got, exposed in zip((field.fx, field.fy, field.fz), (2045, 367, -9782), strict=True):
        assert abs(got - exposed) <= 1
    for got, exposed in zip((rate.gx, rate.gy, rate.gz), (-1200, 4550, 10030), strict=True):
        assert abs(got - exposed) <= 1
    assert abs(rate.temperature - 231) <= 1
    assert abs(attitude.heading_cdeg - 18742) <= 15
    assert abs(attitude.tilt_cdeg - -215) <= 1
    assert abs(attitude.pitch_cdeg - 1180) <= 1
    assert attitude.status == 1


def test_identity_at_start_every_5_s_and_when_asked(hear):
    quiet, asked = hear(11.0), hear(4.0, (2000, from_host(encode(Query()))))
    who = Identity(1, "atmega328p", "E001", "0.1.0", 50, "AMG")
    assert quiet.sentences[0] == who
    assert quiet.all(Identity) == [who] * 3
    assert asked.all(Identity) == [who] * 2


def test_rate_and_streams_are_obeyed(hear):
    heard = hear(
        6.0,
        (1000, from_host(encode(Configure(100, "A")))),
        (3000, from_host(encode(Configure(7, "MG")))),
    )
    in_force = [(who.rate_hz, who.streams) for who in heard.all(Identity)]
    assert in_force == [(50, "AMG"), (100, "A"), (7, "MG")]
    assert len(heard.between(Attitude, 1500, 2500)) == 100
    assert heard.between(RawField, 1100, 3000) == []
    assert len(heard.between(RawField, 4000, 6000)) == len(heard.between(RawRate, 4000, 6000)) == 14
    assert heard.between(Attitude, 3100, 6000) == []
    assert heard.decoder.lost == 0


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (b"100,AM", "more than the link carries"),
        (b"150,G", "faster than the sensor"),
        (b"50,AX", "no such rate or streams"),
    ],
)
def test_settings_it_cannot_keep_are_refused_by_name(hear, text, why):
    heard = hear(1.5, (500, from_host(configured(text))))
    assert heard.faults() == [("CONFIG", why)]
    assert [(who.rate_hz, who.streams) for who in heard.all(Identity)] == [(50, "AMG")]
    assert len(heard.between(Attitude, 600, 1400)) == 40


def test_every_refusal_and_every_stream_of_the_vectors_leaves_it_well(hear):
    chunks = [case["text"].encode("latin-1") + b"\r\n" for case in VECTORS["refuse"]]
    chunks += [piece.encode("latin-1") for case in VECTORS["streams"] for piece in case["chunks"]]
    # no faster than the link carries them
    events, at = [], 200.0
    for chunk in chunks:
        events += [
            (at, from_host(chunk[start : start + 100])) for start in range(0, len(chunk), 100)
        ]
        at += 12 * (1 + len(chunk) // 100)
    events.append((at + 200, from_host(b"\r\n" + encode(Configure(20, "AG")))))
    heard = hear(at / 1000 + 2, *events)
    refused_settings = sum(
        case["text"].startswith("$PHLGC") and case["reason"] in ("fields", "form", "range")
        for case in VECTORS["refuse"]
    )
    assert refused_settings > 5
    faults = heard.faults()
    assert set(faults) == {("CONFIG", "no such rate or streams")}
    assert len(faults) <= refused_settings
    assert heard.unsound == []
    assert heard.decoder.lost == 0
    assert heard.figures["resets"] == 0
    last = heard.all(Identity)[-1]
    assert (last.rate_hz, last.streams) == (20, "AG")


def test_keys_are_debounced(hear):
    bouncing = [(1000 + 3 * i, f"{what} 1") for i, what in enumerate(("press", "release") * 3)]
    heard = hear(
        2.5,
        *bouncing,
        (1020, "press 1"),
        (1300, "release 1"),
        (1600, "press 2"),  # too short for a finger
        (1610, "release 2"),
        (1700, "press 2"),
        (1900, "release 2"),
    )
    keys = heard.all(Key)
    assert [(key.key, key.down) for key in keys] == [(1, True), (1, False), (2, True), (2, False)]
    assert 1020 < keys[0].t_ms < 1060
    instants = {s.seq: s.t_ms for s in heard.all(Attitude)}
    # one seen in the very millisecond of the next instant still goes out before it
    assert all(0 <= key.t_ms - instants[key.seq] <= 20 for key in keys)


@pytest.mark.parametrize(
    ("cue", "changes"), [("GOOD", 2), ("REDO", 6), ("DONE", 6), ("OFF", 0), ("SUN", 15)]
)
def test_cues_are_played(hear, cue, changes):
    heard = hear(2.0, (500, from_host(encode(Cue(cue)))))
    assert heard.figures["light_changes"] == pytest.approx(changes, abs=1 if cue == "SUN" else 0)


def test_values_at_the_ends_of_the_chips_range(hear):
    lowest = "counts " + " ".join(["-32768"] * 10)
    highest = "counts " + " ".join(["32767"] * 10)
    for counts in (lowest, highest):
        heard = hear(2.5, (500, counts), (1500, "counts-free"))
        assert heard.faults() == [
            ("RANGE", "magnetic field too strong"),
            ("RANGE", "acceleration too strong"),
        ]
        assert heard.unsound == []
        assert heard.decoder.lost == 0
        for field in heard.between(RawField, 540, 1500):
            assert (field.mx, field.my, field.mz, field.fx, field.fy, field.fz) == (None,) * 6
        for attitude in heard.between(Attitude, 540, 1500):
            assert (attitude.heading_cdeg, attitude.tilt_cdeg, attitude.status) == (None, None, 6)
        assert heard.all(Attitude)[-1].status == 1


def test_a_strong_field_alone_leaves_tilt_and_pitch(hear):
    heard = hear(1.5, motion="0 200000 0 0 0 0 -10000 0 0 0 230\n")
    assert heard.faults() == [("RANGE", "magnetic field too strong")]
    last = heard.all(Attitude)[-1]
    assert (last.heading_cdeg, last.tilt_cdeg, last.pitch_cdeg, last.status) == (None, 0, 0, 2)


def test_a_sensor_that_is_not_there(hear):
    heard = hear(7.0, (0, "take-away motion"), (0, "take-away magnetometer"))
    assert set(heard.faults()) == {
        ("SENSOR", "motion sensor does not answer"),
        ("SENSOR", "magnetometer does not answer"),
    }
    assert len(heard.faults()) == 4  # at once, and again after 5 s
    nothing = {(a.heading_cdeg, a.tilt_cdeg, a.pitch_cdeg, a.status) for a in heard.all(Attitude)}
    assert nothing == {(None, None, None, 0)}
    assert heard.decoder.lost == 0
    assert heard.figures["resets"] == 0


def test_a_magnetometer_that_goes_and_comes_back(hear):
    heard = hear(4.0, (1000, "take-away magnetometer"), (2000, "put-back magnetometer"))
    assert heard.faults() == [("SENSOR", "magnetometer does not answer")]
    for field in heard.between(RawField, 1040, 2000):
        assert field.mx is None
        assert abs(field.fz + 10_000) <= 1
    assert abs(heard.all(RawField)[-1].mx - 2000) <= 10
    assert heard.all(Attitude)[-1].status == 1


def test_a_dip_in_its_supply_is_noticed_though_the_sensor_still_answers(hear):
    heard = hear(4.0, (1003, "power-dip"))
    assert {code for code, _ in heard.faults()} == {"SENSOR"}
    after = heard.all(RawField)[-1]
    assert (abs(after.mx - 2000) <= 10, abs(after.fz + 10_000) <= 1) == (True, True)


def test_a_bus_held_low_is_reported_and_got_over(hear):
    heard = hear(6.0, (1000, "hold-bus-low"), (3500, "let-bus-go"))
    assert ("SENSOR", "sensor bus is held low") in heard.faults()
    assert heard.decoder.lost == 0
    assert [s.t_ms for s in heard.all(Attitude)] == [20 * (i + 1) for i in range(299)]
    assert heard.figures["resets"] == 0
    assert heard.all(Attitude)[-1].status == 1


def test_the_watchdog_starts_a_hung_board_again(hear):
    heard = hear(4.0, (2000, "stop-clock"))
    assert heard.figures["resets"] == 1
    assert heard.faults() == [("OVERRUN", "restarted by its watchdog")]
    assert len(heard.all(Identity)) == 2
    starts = [
        (before.t_ms, after.t_ms)
        for before, after in itertools.pairwise(heard.all(Attitude))
        if after.t_ms < before.t_ms
    ]
    assert len(starts) == 1
    assert heard.decoder.lost == 0
    # 4 s, less the quarter of a second that the watchdog waits and up to one instant on each side
    assert 183 <= len(heard.all(Attitude)) <= 188


def test_ports_recognises_it_and_asks(board):
    from logger.cli.ports import command

    with emulated_board.served(board, RESTING, serial_number="E042") as (port, _):
        options = ["--port", port, "--ask", "--seconds", "1.0", "--json", "-"]
        done = CliRunner().invoke(command, options, catch_exceptions=False)
    (found,) = json.loads(done.stdout)["ports"]
    assert found["answers"] is True
    assert "atmega328p" in found["heard"]
    assert "E042" in found["heard"]
