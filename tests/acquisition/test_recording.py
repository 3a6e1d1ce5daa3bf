"""A recording keeps what came, says what is wrong with it, and is refused when tampered with."""

import datetime as dt
import json
import random

import pytest

from firmware_protocol import Attitude, Decoder, encode
from logger.acquisition import RecordingWriter, load_stream, read_recording
from logger.acquisition.reader import parse_recording
from logger.acquisition.writer import utc_text
from logger.errors import InputError, RecordingError

HEADER = {"started": "2026-05-14T08:12:31.250Z", "point": "north eave", "mood": "kept"}


def attitude(n):
    return Attitude(n, 20 * n, (18000 + 10 * n) % 36000, -215, 1180, 1)


def write(path, n=10, seal=True):
    decoder = Decoder()
    writer = RecordingWriter(path, HEADER)
    for i in range(n):
        noise = b"\x00\xff" if i == 4 else b""
        writer.add(i * 0.02, decoder.feed(noise + encode(attitude(i))))
    writer.note(0.25, label="lime tree", kind="deciduous")
    writer.close(seal=seal)
    return path


def test_everything_written_comes_back(tmp_path):
    recording, stream = load_stream(write(tmp_path / "a.sweep"))
    assert recording.sealed
    assert recording.problems == ()
    assert recording.header["mood"] == "kept"
    assert recording.started == dt.datetime(2026, 5, 14, 8, 12, 31, 250000, dt.UTC)
    assert len(stream.samples) == 10
    assert stream.samples.heading_deg[3] == pytest.approx(180.3)
    assert stream.samples.pitch_deg[0] == pytest.approx(11.8)
    assert [n.label for n in stream.notes] == ["lime tree"]
    assert sum(stream.refused.values()) == 1
    assert recording.unsound == [(0.08, b"\x00\xff")]


def test_the_seal_counts_records_and_hashes_what_stands_before_it(tmp_path):
    import hashlib

    content = write(tmp_path / "a.sweep").read_bytes()
    *before, end = content.splitlines(keepends=True)
    seal = json.loads(end[2:])
    assert seal["records"] == len(before) - 1
    assert seal["sha256"] == hashlib.sha256(b"".join(before)).hexdigest()


def test_a_recording_is_never_written_over(tmp_path):
    path = write(tmp_path / "a.sweep")
    with pytest.raises(InputError, match="exists already"):
        RecordingWriter(path, HEADER)


def test_one_changed_byte_is_refused_by_name_and_can_be_accepted_aloud(tmp_path):
    path = write(tmp_path / "a.sweep")
    content = bytearray(path.read_bytes())
    spot = content.index(b"lime tree")
    content[spot] ^= 1
    with pytest.raises(RecordingError, match="broken seal: the SHA-256"):
        parse_recording(bytes(content), path)
    got = parse_recording(bytes(content), path, accept_broken_seal=True)
    assert any("broken seal accepted" in p for p in got.problems)
    assert not got.sealed


def test_any_cut_keeps_every_whole_record_and_is_said(tmp_path):
    path = write(tmp_path / "a.sweep", n=6)
    whole = path.read_bytes()
    start = whole.index(b"\n") + 1
    for cut in range(start, len(whole)):
        got = parse_recording(whole[:cut], path)
        lines = whole[:cut].count(b"\n") - 2
        kept = len(got.sentences) + len(got.notes) + len(got.unsound)
        assert kept == max(lines, 0), cut
        assert any("not sealed" in p for p in got.problems)
        assert any("torn" in p for p in got.problems) == (whole[cut - 1 : cut] != b"\n")


def test_every_flipped_bit_of_a_sealed_recording_is_refused_or_said(tmp_path):
    path = write(tmp_path / "a.sweep", n=6)
    whole = path.read_bytes()
    rng = random.Random(7)
    for spot in range(len(whole)):
        changed = bytearray(whole)
        changed[spot] ^= 1 << rng.randrange(8)
        try:
            got = parse_recording(bytes(changed), path)
        except RecordingError:
            continue
        assert got.problems, (spot, changed[spot])


def test_an_unsealed_recording_is_taken_and_said(tmp_path):
    got = read_recording(write(tmp_path / "a.sweep", seal=False))
    assert not got.sealed
    assert got.problems == ("not sealed: the recording was interrupted before its end",)


def test_a_newer_format_is_refused_with_its_number(tmp_path):
    path = tmp_path / "a.sweep"
    path.write_bytes(b"horizon-logger recording 2\nh {}\n")
    with pytest.raises(RecordingError, match=r"'2', this program reads 1"):
        read_recording(path)


@pytest.mark.parametrize(
    "line",
    [
        b"s x $A",
        b"n 1.0 [1]",
        b'n 1.0 {"a":NaN}',
        b"x 1.0 zz",
        b"q 1",
        b"s -1 $A",
        b"s nan $A",
        b"",
    ],
)
def test_an_unreadable_line_is_left_out_and_numbered(tmp_path, line):
    content = b"horizon-logger recording 1\nh {}\n" + line + b"\n"
    got = parse_recording(content, tmp_path / "a.sweep")
    assert any("1 unreadable line(s) left out: 3" in p for p in got.problems)


def test_a_missing_file_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="No such file"):
        load_stream(tmp_path / "none.sweep")


def test_times_are_written_in_utc_with_z():
    moment = dt.datetime(2026, 5, 14, 10, 12, 31, 250999, dt.timezone(dt.timedelta(hours=2)))
    assert utc_text(moment) == "2026-05-14T08:12:31.250Z"
