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
from logger.recording.reader import NOTHING, UNSEALED, parse_recording

from .conftest import HEADER, attitude

FIRST = b"horizon-logger recording 1\n"
PATH = Path("a.sweep")


def write(path, n=10, seal=True):
    decoder = Decoder()
    writer = RecordingWriter(path, HEADER)
    for i in range(n):
        noise = b"\x00\xff" if i == 4 else b""
        writer.add(i * 0.02, decoder.feed(noise + encode(attitude(i))))
    writer.note(0.25, label="lime tree", kind="deciduous")
    writer.close(seal=seal)
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The bytes of a sealed recording of six headings."""
    return write(tmp_path_factory.mktemp("whole") / "a.sweep", n=6).read_bytes()


def test_everything_written_comes_back_and_is_never_written_over(tmp_path):
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
    with pytest.raises(InputError, match="exists already"):
        RecordingWriter(path, HEADER)


# --- Damage ---


def test_any_cut_keeps_every_whole_record_and_is_said(whole):
    for cut in range(len(FIRST), len(whole)):
        got = parse_recording(whole[:cut], PATH)
        lines = whole[:cut].count(b"\n") - 2
        kept = len(got.sentences) + len(got.notes) + len(got.unsound)
        assert kept == max(lines, 0), cut
        assert any("not sealed" in p for p in got.problems)
        assert any("torn" in p for p in got.problems) == (whole[cut - 1 : cut] != b"\n")


def test_every_flipped_bit_of_a_sealed_recording_is_refused_or_said(whole):
    rng = random.Random(7)
    for spot in range(len(whole)):
        changed = bytearray(whole)
        changed[spot] ^= 1 << rng.randrange(8)
        try:
            got = parse_recording(bytes(changed), PATH)
        except RecordingError:
            continue
        assert got.problems, (spot, changed[spot])


@pytest.mark.parametrize("seal", [True, False])
@given(data=st.data())
def test_damage_is_never_silent(tmp_path_factory, seal, data):
    whole = write(tmp_path_factory.mktemp("damage") / "a.sweep", n=20, seal=seal).read_bytes()
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 3))):
        spot = data.draw(st.integers(len(FIRST), len(whole) - 1))
        changed[spot] = data.draw(st.integers(0, 255))
    try:
        got = parse_recording(bytes(changed), PATH)
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
    content = FIRST + b"".join(line + b"\n" for line in lines)
    decode_recording(parse_recording(content, PATH, accept_broken_seal=True))


# --- What is believed, and what is said ---


@pytest.mark.parametrize(
    ("header", "hour", "latitude"),
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
def test_a_header_is_believed_only_as_far_as_it_makes_sense(header, hour, latitude):
    got = parse_recording(FIRST + b"h " + header.encode() + b"\n", PATH)
    assert (got.started.hour if got.started else None) == hour
    assert got.number("latitude") == latitude


def test_no_text_of_a_recording_steers_a_terminal_and_what_is_none_is_not_taken(tmp_path):
    header = {"point": "a\x1b[31m\nb\u202ec " + "x" * 5000, "site": 7}
    with RecordingWriter(tmp_path / "a.sweep", header) as writer:
        writer.note(1.0, label="\x07oak\r", kind="\x00")
    recording, stream = load_stream(tmp_path / "a.sweep")
    assert recording.text("point") == "a [31m b c " + "x" * 189
    assert (recording.text("site"), recording.text("observer", "nobody")) == ("", "nobody")
    assert (stream.notes[0].label, stream.notes[0].kind) == ("oak", "")


LEFT_OUT = "{} unreadable line(s) left out: {}"
NO_RECORD = (b"s x $A", b"n 1.0 [1]", b'n 1.0 {"a":NaN}', b"x 1.0 zz", b"q 1", b"s -1 $A",
             b"s nan $A", b"", b'h {"a":2}')  # fmt: skip


@pytest.mark.parametrize(
    ("lines", "kept", "problems"),
    [
        *((b"h {}\n" + bad + b"\n", 0, (LEFT_OUT.format(1, 3), NOTHING)) for bad in NO_RECORD),
        (
            b'h {"a":1}\n' + b"q\n" * 5 + b"n 0.0 {}\nx 0.5 00\ns 1.0 $A\n",
            3,
            (LEFT_OUT.format(5, "3, 4, 5, 6, 7"), UNSEALED),
        ),
        (
            b'h {"a":1}\n' + b"q\n" * 10 + b"n 0.0 {}\n",
            1,
            (LEFT_OUT.format(10, "3, 4, 5, 6, 7 …"), UNSEALED),
        ),
        (
            b"q\nn 2.0 {}\nn 1.0 {}\ntorn",
            2,
            (
                "the last line is torn and was dropped (4 bytes)",
                "time steps back 1 times",
                LEFT_OUT.format(1, 2),
                UNSEALED,
                "no header",
            ),
        ),
        (
            b'h {"a":1}\ns 0.1 $A\nn 0.2 {"link":"lost"}\nn 0.3 {"link":"back"}\ns 0.4 $A\n'
            b'n 0.5 {"host_clock_moved_s":-3599.6}\nn 0.6 {"host_clock_moved_s":"x"}\n',
            6,
            ("time in doubt: the computer's clock was set by -3600 s in mid-sweep", UNSEALED),
        ),
        (b"h {}\ns 0.1 $%s\n" % (b"A" * 65_529), 1, (UNSEALED, "no header")),
        (b"h {}\ns 0.1 $%s\n" % (b"A" * 65_530), 0, (LEFT_OUT.format(1, 3), NOTHING)),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_left_out_and_numbered(lines, kept, problems):
    got = parse_recording(FIRST + lines, PATH)
    assert len(got.sentences) + len(got.notes) + len(got.unsound) == kept
    assert got.problems == problems
    assert got.header.get("a") in (None, 1)


WHOLE_FILE = FIRST + b'h {"started":"2026\n'


@pytest.mark.parametrize(
    "content",
    [WHOLE_FILE[:length] for length in (0, 1, 24, 26, 27, 28, 45)]
    + [FIRST + b"h {}\n", FIRST + b"h {}\ns 0.0"],
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
    path.write_bytes(FIRST + b'h {"a":1}\n' + notes)
    recording, stream = load_stream(path)
    assert [note.label for note in stream.notes] == ["oak 0", "oak 1", "oak 2"]
    assert "2 notes after the first 3 left out" in recording.problems


# --- What is refused ---

EDITED = (
    "some program changed its line ends or put a byte order mark before it",
    "use the original: a recording is copied as it is, never edited",
)
NO_RECORDING = ("its first line does not say that it is a recording", "")
NEWER = "a newer version of this program may read it"


@pytest.mark.parametrize(
    ("content", "what", "hint"),
    [
        (b"other\n", *NO_RECORDING),
        (b"\xef\xbb\xbf", *NO_RECORDING),
        (b"\xef\xbb\xbf" + FIRST, *EDITED),
        (FIRST[:-1] + b"\r\nh {}\r\n", *EDITED),
        (
            FIRST[:-2] + b"2" + b"3" * 30 + b"\xff\n",
            "recording format '2" + "3" * 19 + "', this program reads 1",
            NEWER,
        ),
        (FIRST[:-2] + b"\xff\n", "recording format '\ufffd', this program reads 1", NEWER),
    ],
)
def test_a_refusal_says_what_where_and_what_to_do(content, what, hint):
    with pytest.raises(RecordingError) as caught:
        parse_recording(content, PATH)
    assert (caught.value.what, caught.value.where, caught.value.hint) == (what, str(PATH), hint)


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("none.sweep", "cannot be read: No such file or directory"),
        ("a\0b", "cannot be read: embedded null byte"),
    ],
)
def test_a_file_that_cannot_be_read_says_so_with_its_name(tmp_path, name, what):
    with pytest.raises(InputError) as caught:
        read_recording(tmp_path / name)
    assert (caught.value.what, caught.value.where) == (what, str(tmp_path / name))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_or_a_device_is_refused_before_it_is_opened(tmp_path):
    os.mkfifo(tmp_path / "pipe.sweep")
    for path, kind in ((tmp_path / "pipe.sweep", "a pipe"), (Path("/dev/zero"), "a device")):
        for read in (load_stream, read_recording):
            with pytest.raises(InputError, match=f"is no file but {kind}"):
                read(path)
    assert continued([tmp_path / "pipe.sweep"]) is None


@pytest.mark.parametrize(
    ("seal", "fault"),
    [
        (b"e nothing\n", "it cannot be read"),
        (b'e {"records":0,"sha256":"00"}\nn 1.0 {}\n', "the SHA-256 of the records is another"),
        (b'e {"records":7}\n', "it counts 7 records, the file has 0"),
    ],
)
def test_a_broken_seal_says_how_and_what_to_do(seal, fault):
    with pytest.raises(RecordingError) as caught:
        parse_recording(FIRST + seal, PATH)
    assert caught.value.what == f"broken seal: {fault}; the file was changed after it was recorded"
    assert caught.value.hint.startswith("use the original, or go on with")
    assert caught.value.hint.endswith("--accept-broken-seal")


def test_a_broken_seal_is_accepted_when_told(whole):
    with pytest.raises(RecordingError, match="there are lines after it"):
        parse_recording(whole + b"n 9.000 {}\n", PATH)
    got = parse_recording(whole.replace(b"lime", b"time"), PATH, accept_broken_seal=True)
    assert got.problems == ("broken seal accepted: the SHA-256 of the records is another",)
    assert not got.sealed


# --- How long one may be ---


def test_a_recording_is_read_up_to_the_limits_and_no_further(tmp_path, whole, monkeypatch):
    records = whole.count(b"\n") - 3
    path = tmp_path / "a.sweep"
    path.write_bytes(whole)
    for records_less, bytes_less, why in (
        (0, 0, None),
        (0, 1, "no sweep is that long"),
        (1, 0, f"more than {records - 1} records, no sweep is that long"),
    ):
        monkeypatch.setattr("logger.recording.reader.MOST_RECORDS", records - records_less)
        monkeypatch.setattr("logger.recording.reader.MOST_BYTES", len(whole) - bytes_less)
        if why is None:
            assert read_recording(path).sealed
        else:
            with pytest.raises(InputError, match=why) as caught:
                read_recording(path)
            assert caught.value.where == str(path)


@pytest.mark.parametrize(("limit", "size"), [("MOST_RECORDS", 45_000), ("MOST_BYTES", 1000)])
def test_a_writer_knows_when_a_recording_is_as_long_as_can_be_read_again(
    tmp_path, monkeypatch, limit, size
):
    monkeypatch.setattr(f"logger.recording.writer.{limit}", 1000)
    monkeypatch.setattr(f"logger.recording.reader.{limit}", 1200)
    decoder, sent = Decoder(), 0
    with RecordingWriter(tmp_path / "a.sweep", HEADER) as writer:
        while not writer.full:
            writer.add(0.1, decoder.feed(encode(attitude(sent))))
            sent += 1
    assert (tmp_path / "a.sweep").stat().st_size == pytest.approx(size, rel=0.2)
    assert len(read_recording(tmp_path / "a.sweep").sentences) == sent
