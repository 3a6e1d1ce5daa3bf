"""A recording keeps what came, says what is wrong with it, and is refused when tampered with."""

import datetime as dt
import os
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import Decoder, encode
from logger.errors import InputError, RecordingError
from logger.recording import RecordingWriter, continued, load_stream, read_recording
from logger.recording.load import decode_recording
from logger.recording.reader import NOTHING, parse_recording
from logger.structured import utc_text

from .conftest import HEADER, attitude


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
    path = write(tmp_path / "a.sweep")
    recording, stream = load_stream(path)
    assert recording.sealed
    assert recording.problems == ()
    assert recording.header["mood"] == "kept"
    assert recording.started == dt.datetime(2026, 5, 14, 8, 12, 31, 250000, dt.UTC)
    assert len(stream.samples) == 10
    assert stream.samples.heading_deg[3] == pytest.approx(180.3)
    assert stream.samples.pitch_deg[0] == pytest.approx(11.8)
    assert [n.label for n in stream.notes] == ["lime tree"]
    assert sum(stream.refused.values()) == 1
    assert read_recording(path).unsound == [(0.08, b"\x00\xff")]


def test_a_recording_is_never_written_over(tmp_path):
    path = write(tmp_path / "a.sweep")
    with pytest.raises(InputError, match="exists already"):
        RecordingWriter(path, HEADER)


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


@pytest.mark.parametrize("seal", [True, False])
@given(data=st.data())
def test_damage_is_never_silent(tmp_path_factory, seal, data):
    path = write(tmp_path_factory.mktemp("damage") / "a.sweep", n=20, seal=seal)
    whole = path.read_bytes()
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 3))):
        spot = data.draw(st.integers(whole.index(b"\n") + 1, len(whole) - 1))
        changed[spot] = data.draw(st.integers(0, 255))
    try:
        got = parse_recording(bytes(changed), path)
    except RecordingError:
        return
    if changed != whole:
        assert not got.sealed
        assert got.problems
    samples = decode_recording(got).samples
    # Whatever is read was sent: no heading that never was.
    assert set(np.round(samples.heading_deg * 10)) <= {1800 + n for n in range(20)}


@given(
    st.lists(
        st.one_of(
            st.binary(max_size=40),
            st.builds(
                lambda kind, t, rest: b"%c %s %s" % (kind, t, rest),
                st.sampled_from(b"snxhe"),
                st.sampled_from([b"0.020", b"1e999", b"nan", b"-1", b"9" * 400, b"1_0", b" 1"]),
                st.sampled_from(
                    [b"{}", b"[" * 3000, b'{"link":"back"}', b"zz", encode(attitude(3))[:-2]]
                ),
            ),
        ),
        max_size=12,
    )
)
def test_any_records_are_read_or_named(lines):
    content = b"horizon-logger recording 1\n" + b"".join(line + b"\n" for line in lines)
    decode_recording(parse_recording(content, Path("a.sweep"), accept_broken_seal=True))


@pytest.mark.parametrize(
    ("header", "started", "latitude"),
    [
        ('{"started":"2026-05-14T10:12:31+02:00","latitude":46}', 8, 46.0),
        ('{"started":"2026-05-14T08:12:31","latitude":46.05}', 8, 46.05),
        ('{"started":"0001-01-01T00:00:00+23:59","latitude":true}', None, None),
        ('{"started":"soon","latitude":"46"}', None, None),
        ('{"started":12,"latitude":1' + "0" * 400 + "}", None, None),
        ('{"started":null,"latitude":1e999}', None, None),
        ('{"latitude":1' + "0" * 5000 + "}", None, None),
        ('{"point":"\\ud800","latitude":46}', None, None),
        ("[" * 100_000, None, None),
        ('{"a":' * 30_000, None, None),
        ('{"latitude":NaN}', None, None),
        ('{"latitude":-Infinity}', None, None),
    ],
)
def test_a_header_is_believed_only_as_far_as_it_makes_sense(tmp_path, header, started, latitude):
    content = b"horizon-logger recording 1\nh " + header.encode() + b"\n"
    got = parse_recording(content, tmp_path / "a.sweep")
    assert (got.started.hour if got.started else None) == started
    assert got.number("latitude") == latitude


def test_no_text_of_a_recording_steers_a_terminal(tmp_path):
    path = tmp_path / "a.sweep"
    with RecordingWriter(path, {"point": "a\x1b[31m\nb\u202ec " + "x" * 5000}) as writer:
        writer.note(1.0, label="\x07oak\r", kind="\x00")
    recording, stream = load_stream(path)
    assert recording.text("point") == "a [31m b c " + "x" * 189
    assert (stream.notes[0].label, stream.notes[0].kind) == ("oak", "")


def test_text_of_the_wrong_kind_is_none(tmp_path):
    got = parse_recording(b'horizon-logger recording 1\nh {"point":7}\n', tmp_path / "a.sweep")
    assert got.text("point") == ""
    assert got.text("observer", "nobody") == "nobody"


def test_a_second_header_or_one_further_down_is_left_out_and_numbered(tmp_path):
    content = b'horizon-logger recording 1\nh {"a":1}\nh {"a":2}\n'
    got = parse_recording(content, tmp_path / "a.sweep")
    assert got.header == {"a": 1}
    assert "1 unreadable line(s) left out: 3" in got.problems


def test_lines_after_the_seal_break_it(tmp_path):
    content = write(tmp_path / "a.sweep").read_bytes()
    with pytest.raises(RecordingError, match="there are lines after it"):
        parse_recording(content + b"n 9.000 {}\n", tmp_path / "a.sweep")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"h",
        b"horizon-logger recording",
        b"horizon-logger recording 1",
        b"horizon-logger recording 1\n",
        b"horizon-logger recording 1\nh",
        b'horizon-logger recording 1\nh {"started":"2026',
        b"horizon-logger recording 1\nh {}\n",
        b"horizon-logger recording 1\nh {}\ns 0.0",
    ],
)
def test_a_recording_interrupted_at_its_start_is_one_with_nothing_in_it(tmp_path, content):
    path = tmp_path / "a.sweep"
    path.write_bytes(content)
    recording, stream = load_stream(path)
    assert (recording.empty, recording.sealed, len(stream.samples)) == (True, False, 0)
    assert recording.problems[-1] == NOTHING


def test_more_notes_than_a_hand_can_make_are_left_out_and_counted(tmp_path, monkeypatch):
    monkeypatch.setattr("logger.recording.decode.MOST_EVENTS", 3)
    notes = b"".join(b'n %d.0 {"label":"oak %d"}\n' % (n, n) for n in range(5))
    path = tmp_path / "a.sweep"
    path.write_bytes(b'horizon-logger recording 1\nh {"a":1}\n' + notes)
    recording, stream = load_stream(path)
    assert [note.label for note in stream.notes] == ["oak 0", "oak 1", "oak 2"]
    assert "2 notes after the first 3 left out" in recording.problems


def test_a_writer_knows_when_a_recording_is_as_long_as_can_be_read_again(tmp_path, monkeypatch):
    monkeypatch.setattr("logger.recording.writer.MOST_RECORDS", 1000)
    monkeypatch.setattr("logger.recording.reader.MOST_RECORDS", 1000)
    decoder = Decoder()
    with RecordingWriter(tmp_path / "a.sweep", HEADER) as writer:
        while not writer.full:
            writer.add(0.1, decoder.feed(encode(attitude(decoder.accepted))))
    assert 985 < len(read_recording(tmp_path / "a.sweep").sentences) < 995
    monkeypatch.setattr("logger.recording.writer.MOST_BYTES", 1000)
    with RecordingWriter(tmp_path / "b.sweep", HEADER) as writer:
        while not writer.full:
            writer.add(0.1, decoder.feed(encode(attitude(decoder.accepted))))
    assert 990 < (tmp_path / "b.sweep").stat().st_size < 1200


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


def test_times_are_written_in_utc_with_z():
    moment = dt.datetime(2026, 5, 14, 10, 12, 31, 250999, dt.timezone(dt.timedelta(hours=2)))
    assert utc_text(moment, "milliseconds") == "2026-05-14T08:12:31.250Z"


# --- What the reader says, and just where its limits lie ---

FIRST = b"horizon-logger recording 1\n"


@pytest.mark.parametrize(
    ("content", "what", "hint"),
    [
        (b"other\n", "its first line does not say that it is a recording", ""),
        (b"\xef\xbb\xbf", "its first line does not say that it is a recording", ""),
        (
            b"\xef\xbb\xbf" + FIRST,
            "some program changed its line ends or put a byte order mark before it",
            "use the original: a recording is copied as it is, never edited",
        ),
        (
            FIRST[:-1] + b"\r\nh {}\r\n",
            "some program changed its line ends or put a byte order mark before it",
            "use the original: a recording is copied as it is, never edited",
        ),
        (
            b"horizon-logger recording 2" + b"3" * 30 + b"\xff\n",
            "recording format '2" + "3" * 19 + "', this program reads 1",
            "a newer version of this program may read it",
        ),
        (
            b"horizon-logger recording \xff\n",
            "recording format '\ufffd', this program reads 1",
            "a newer version of this program may read it",
        ),
    ],
)
def test_a_refusal_says_what_where_and_what_to_do(tmp_path, content, what, hint):
    path = tmp_path / "a.sweep"
    path.write_bytes(content)
    with pytest.raises(RecordingError) as caught:
        read_recording(path)
    assert (caught.value.what, caught.value.where) == (what, str(path))
    assert caught.value.hint == hint


def test_a_file_that_cannot_be_read_says_so_with_its_name(tmp_path):
    with pytest.raises(InputError) as caught:
        read_recording(tmp_path / "none.sweep")
    assert caught.value.what == "cannot be read: No such file or directory"
    assert caught.value.where == str(tmp_path / "none.sweep")
    with pytest.raises(InputError) as caught:
        read_recording(tmp_path / "a\0b")
    assert caught.value.what == "cannot be read: embedded null byte"


def test_a_broken_seal_is_refused_by_default_and_accepted_when_told(tmp_path):
    path = write(tmp_path / "a.sweep")
    path.write_bytes(path.read_bytes().replace(b"lime", b"time"))
    with pytest.raises(RecordingError, match="broken seal") as caught:
        read_recording(path)
    assert caught.value.where == str(path)
    got = read_recording(path, accept_broken_seal=True)
    assert got.path == path
    assert any("broken seal accepted" in problem for problem in got.problems)
    assert not got.sealed


def test_what_comes_after_an_unreadable_line_is_still_read(tmp_path):
    content = FIRST + b'h {"a":1}\n' + b"q\n" * 5 + b"n 0.0 {}\nx 0.5 00\ns 1.0 $A\n"
    got = parse_recording(content, tmp_path / "a.sweep")
    assert "5 unreadable line(s) left out: 3, 4, 5, 6, 7" in got.problems
    assert (len(got.notes), len(got.unsound), len(got.sentences)) == (1, 1, 1)
    got = parse_recording(content.replace(b"q\n", b"q\nq\n"), tmp_path / "a.sweep")
    assert "10 unreadable line(s) left out: 3, 4, 5, 6, 7 …" in got.problems


def test_a_torn_line_is_named_beside_all_that_is_wrong_before_it(tmp_path):
    got = parse_recording(FIRST + b"q\nn 2.0 {}\nn 1.0 {}\ntorn", tmp_path / "a.sweep")
    assert got.problems == (
        "the last line is torn and was dropped (4 bytes)",
        "time steps back 1 times",
        "1 unreadable line(s) left out: 2",
        "not sealed: the recording was interrupted before its end",
        "no header",
    )


def test_the_limits_lie_where_they_are_said_to(tmp_path, monkeypatch):
    path = write(tmp_path / "a.sweep")
    content = path.read_bytes()
    monkeypatch.setattr("logger.recording.reader.MOST_RECORDS", content.count(b"\n") - 3)
    monkeypatch.setattr("logger.recording.reader.MOST_BYTES", len(content))
    assert read_recording(path).sealed
    monkeypatch.setattr("logger.recording.reader.MOST_BYTES", len(content) - 1)
    with pytest.raises(InputError, match="no sweep is that long") as caught:
        read_recording(path)
    assert caught.value.where == str(path)
    monkeypatch.setattr("logger.recording.reader.MOST_RECORDS", content.count(b"\n") - 4)
    with pytest.raises(RecordingError, match=r"more than \d+ records, no sweep is that") as caught:
        parse_recording(content, path)
    assert caught.value.where == str(path)
    line = b"s 0.1 $" + b"A" * (64 * 1024 - 7)
    assert len(parse_recording(FIRST + line + b"\n", path).sentences) == 1
    assert len(parse_recording(FIRST + line + b"A\n", path).sentences) == 0


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_or_a_device_is_refused_before_it_is_opened(tmp_path):
    os.mkfifo(tmp_path / "pipe.sweep")
    for path, kind in ((tmp_path / "pipe.sweep", "a pipe"), (Path("/dev/zero"), "a device")):
        for read in (load_stream, read_recording):
            with pytest.raises(InputError, match=f"is no file but {kind}"):
                read(path)
    assert continued([tmp_path / "pipe.sweep"]) is None


def test_notes_of_a_lost_link_and_a_moved_clock_are_understood(tmp_path):
    content = (
        FIRST + b's 0.1 $A\nn 0.2 {"link":"lost"}\nn 0.3 {"link":"back"}\ns 0.4 $A\n'
        b'n 0.5 {"host_clock_moved_s":-3599.6}\nn 0.6 {"host_clock_moved_s":"x"}\n'
    )
    got = parse_recording(content, tmp_path / "a.sweep")
    doubts = [problem for problem in got.problems if "doubt" in problem]
    assert doubts == ["time in doubt: the computer's clock was set by -3600 s in mid-sweep"]


@pytest.mark.parametrize(
    ("seal", "fault"),
    [
        (b"e nothing\n", "it cannot be read"),
        (b'e {"records":0,"sha256":"00"}\nn 1.0 {}\n', "the SHA-256 of the records is another"),
        (b'e {"records":7}\n', "it counts 7 records, the file has 0"),
    ],
)
def test_a_broken_seal_says_how_and_what_to_do(tmp_path, seal, fault):
    with pytest.raises(RecordingError) as caught:
        parse_recording(FIRST + seal, tmp_path / "a.sweep")
    assert caught.value.what == f"broken seal: {fault}; the file was changed after it was recorded"
    assert caught.value.hint.startswith("use the original, or go on with")
    assert caught.value.hint.endswith("--accept-broken-seal")
