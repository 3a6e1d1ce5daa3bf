"""What is recorded is on the disk within a second, and the seal tells what is there."""

import hashlib
import json
import os
import threading

import pytest

from firmware_protocol import Decoder
from logger.errors import InputError
from logger.recording import RecordingWriter, continued, read_recording


@pytest.fixture
def forced(monkeypatch):
    """Sizes of the file at each forced write, as they happen."""
    sizes, real = [], os.fsync
    happened = threading.Semaphore(0)

    def fsync(handle):
        real(handle)
        sizes.append(os.fstat(handle).st_size)
        happened.release()

    monkeypatch.setattr(os, "fsync", fsync)
    return sizes, happened


def test_every_record_is_in_the_file_before_the_call_returns(tmp_path, fifty_hertz):
    decoder, path = Decoder(), tmp_path / "a.sweep"
    with RecordingWriter(path, {}) as writer:
        for number, (_, chunk) in enumerate(fifty_hertz(0, 20), start=1):
            writer.add(0.02 * number, decoder.feed(chunk))
            assert len(read_recording(path).sentences) == number


def test_bytes_are_forced_to_the_disk_twice_a_second_even_when_nothing_follows(tmp_path, forced):
    sizes, happened = forced
    now = [0.0]
    path = tmp_path / "a.sweep"
    writer = RecordingWriter(path, {}, monotonic=lambda: now[0])
    writer.note(0.1, label="oak")
    while happened.acquire(blocking=False):
        pass
    for tick in range(1, 61):  # three seconds of silence: once forced, nothing is left to force
        now[0] = tick * 0.05
        writer.tick()
        if tick == 10:
            assert happened.acquire(timeout=5)
    assert not happened.acquire(blocking=False)
    assert sizes[-1] == path.stat().st_size
    forced_once = len(sizes)
    writer.note(3.0, label="ash")
    now[0] += 0.5
    writer.tick()
    assert happened.acquire(timeout=5)
    assert len(sizes) == forced_once + 1
    writer.close()
    assert sizes[-1] == path.stat().st_size


def test_a_forced_write_that_fails_is_told_at_the_next_step(tmp_path, monkeypatch):
    now = [0.0]
    writer = RecordingWriter(tmp_path / "a.sweep", {}, monotonic=lambda: now[0])

    def fails(handle):
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fails)
        now[0] = 1.0
        writer.tick()
        writer._syncing.exception(timeout=5)
        now[0] = 2.0
        with pytest.raises(InputError, match="refused to take more: Input/output error"):
            writer.tick()
    writer.close()


def test_a_fault_inside_the_recording_leaves_it_unsealed(tmp_path):
    path = tmp_path / "a.sweep"
    writer = RecordingWriter(path, {"point": "a"})
    writer.note(0.1, label="oak")
    with pytest.raises(ZeroDivisionError), writer:
        raise ZeroDivisionError
    assert read_recording(path).problems == (
        "not sealed: the recording was interrupted before its end",
    )


def test_a_second_close_changes_nothing(tmp_path):
    writer = RecordingWriter(tmp_path / "a.sweep", {"point": "a"})
    writer.close()
    before = writer.path.read_bytes()
    writer.close()
    assert writer.path.read_bytes() == before


def test_the_file_is_as_documented_to_the_byte(tmp_path):
    sentence = b"$PHLGA,412,8240,187.42,-2.15,11.80,1,74F9*0F"
    decoder = Decoder()
    header = {"started": "2026-05-14T08:12:31.250Z", "point": "Nordseite, Süd"}
    with RecordingWriter(tmp_path / "a.sweep", header) as writer:
        writer.add(0.0214, decoder.feed(sentence + b"\r\n"))
        writer.note(12.331, label="lime tree", kind="deciduous")
        writer.add(14.01, [*decoder.feed(b"\x3f\x8a\x00"), *decoder.finish()])
    lines = writer.path.read_bytes().split(b"\n")
    assert lines[:5] == [
        b"horizon-logger recording 1",
        'h {"started":"2026-05-14T08:12:31.250Z","point":"Nordseite, Süd"}'.encode(),
        b"s 0.021 " + sentence,
        b'n 12.331 {"label":"lime tree","kind":"deciduous"}',
        b"x 14.010 3f8a00",
    ]
    before = b"".join(line + b"\n" for line in lines[:5])
    seal = {"records": 4, "sha256": hashlib.sha256(before).hexdigest()}
    assert lines[5] == b"e " + json.dumps(seal, separators=(",", ":")).encode()
    assert lines[6:] == [b""]


def test_text_without_utf8_is_replaced_and_no_text_starts_a_new_line(tmp_path):
    with RecordingWriter(tmp_path / "a.sweep", {"point": "a\nb"}) as writer:
        writer.note(0.0, label="\udc80\r\n e {}")
    recording = read_recording(writer.path)
    assert recording.sealed
    assert recording.header == {"point": "a\nb"}
    assert recording.notes == [(0.0, {"label": "?\r\n e {}"})]


def test_a_number_that_is_none_is_refused_and_spoils_nothing(tmp_path):
    with RecordingWriter(tmp_path / "a.sweep", {}) as writer:
        with pytest.raises(ValueError, match="JSON"):
            writer.note(0.0, height_m=float("nan"))
        writer.note(1.0, label="oak")
    assert len(read_recording(writer.path).notes) == 1


@pytest.mark.parametrize("path", ["file/a.sweep", "x" * 300 + ".sweep"])
def test_a_place_that_cannot_be_written_is_an_input_error(tmp_path, path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"cannot be written: \w"):
        RecordingWriter(tmp_path / path, {})


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no full device")
def test_a_disk_full_from_the_start_is_told_at_once(tmp_path, monkeypatch):
    real = open
    monkeypatch.setattr(
        "builtins.open",
        lambda path, mode, **more: real("/dev/full", "wb", **more) if mode == "xb" else None,
    )
    with pytest.raises(InputError, match="No space left on device"):
        RecordingWriter(tmp_path / "a.sweep", {})


@pytest.fixture
def made(tmp_path):
    """Makes a recording of long ago."""

    def make(name, *links, continues="", seal=True, spoilt=lambda content: content):
        header = {"point": "a"} | ({"continues": continues} if continues else {})
        writer = RecordingWriter(tmp_path / f"{name}.sweep", header)
        for link in links:
            writer.note(1.0, link=link)
        writer.note(1.5, label="oak")
        writer.close(seal=seal)
        writer.path.write_bytes(spoilt(writer.path.read_bytes()))
        os.utime(writer.path, (1e9, 1e9))
        return writer.path

    return make


WHOLE, UNSEALED = {}, {"seal": False}
CUT = {
    "link came back": ([{"links": ("lost", "back")}], None),
    "whole": ([WHOLE], None),
    "link lost": ([{"links": ("lost", "back", "lost")}], 0),
    "unsealed": ([UNSEALED], 0),
    "torn": ([{"spoilt": lambda content: content[:-1]}], 0),
    # A broken seal does not make it whole.
    "altered": (
        [{"links": ("lost",), "spoilt": lambda content: content.replace(b"oak", b"elm")}],
        0,
    ),
    "nothing after it": ([UNSEALED, {"spoilt": lambda content: content[:18]}], 0),
    "ended after it": ([{"links": ("lost",)}, WHOLE], None),
    "gone on from and cut again": ([UNSEALED, {"continues": "0.sweep", "seal": False}], 0),
    "gone on from and ended": ([UNSEALED, {"continues": "0.sweep"}], None),
    "none": ([], None),
}


@pytest.mark.parametrize(("recordings", "first"), CUT.values(), ids=CUT)
def test_a_recording_that_was_cut_short_is_gone_on_from(made, recordings, first):
    paths = [made(n, *more.get("links", ()), **{k: v for k, v in more.items() if k != "links"})
             for n, more in enumerate(recordings)]  # fmt: skip
    assert continued(paths) == (None if first is None else f"{first}.sweep")


def test_what_is_written_this_moment_or_is_not_there_is_not_gone_on_from(made, tmp_path):
    unsealed = made("unsealed", seal=False)
    os.utime(unsealed)  # another program is at it
    assert continued([unsealed]) is None
    assert continued([tmp_path / "none.sweep"]) is None
