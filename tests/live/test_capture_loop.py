import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_protocol import Cue, Identity, Key, decode_sentence, encode
from logger.edits import edit_from
from logger.errors import DeviceError
from logger.job import add_edit, calibration_path, read_job, write_json
from logger.live.keyboard import Action
from logger.live.sweep_task import HELD, IN_PASSING
from logger.recording import Taken, load_stream, read_recording
from logger.simulation import Operator
from logger.survey.demo import shipped_survey

from .conftest import STARTED, AtOnce, Bench, Chunks, PlayedLink, board_chunks

MakeBench = Callable[..., Bench]


def sentences(path: Path) -> list[bytes]:
    return [raw for _, raw in read_recording(path).sentences]


def lines(chunks: Chunks) -> list[bytes]:
    return [line for _, chunk in chunks for line in chunk.split(b"\r\n") if line]


def cues(link: PlayedLink) -> list[str]:
    found = (decode_sentence(line) for line in link.sent.split(b"\r\n") if line)
    return [cue.cue for cue in found if isinstance(cue, Cue)]


def trigger(t_ms: int = 10) -> bytes:
    return encode(Key(1, t_ms, 1, True)) + encode(Key(1, t_ms + 100, 1, False))


IDENTITY = encode(Identity(1, "played board", "0007", "1.0", 50, "A"))


def gone() -> PlayedLink:
    raise DeviceError("no such port")


def test_the_trigger_ends_a_point_and_its_recording_is_sealed(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep)
    swept.sweep()
    (path,) = swept.recordings
    recording = read_recording(path)
    assert recording.sealed
    assert (recording.header["point"], recording.header["purpose"]) == ("eave", "sweep")
    assert "leaf" not in recording.header
    got = sentences(path)
    assert got == lines(quick_sweep)[: len(got)]
    assert any(raw.startswith(b"$PHLGK") and b",1,D" in raw for raw in got[-40:])
    assert cues(swept.link)[-1] == "OFF"


def test_q_time_and_ctrl_c_end_a_point_too(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = bench(quick_sweep, [(1.0, "q")])
    typed.sweep()
    assert typed.clock.now_s == pytest.approx(1.0, abs=0.2)
    timed = bench(quick_sweep)
    timed.sweep(seconds=2.0)
    assert timed.clock.now_s == pytest.approx(2.0, abs=0.2)
    stopped = bench(quick_sweep)
    read = stopped.link.read

    def interrupted() -> list[Taken]:
        if stopped.clock.now_s > 1.0:
            raise KeyboardInterrupt
        return read()

    monkeypatch.setattr(stopped.link, "read", interrupted)
    stopped.sweep()
    assert read_recording(stopped.recordings[0]).sealed


def test_space_pauses_and_goes_on_in_a_new_recording(bench: MakeBench, quick_sweep: Chunks) -> None:
    swept = bench(quick_sweep, [(1.0, " "), (2.0, " ")])
    swept.sweep()
    first, second = swept.recordings
    assert read_recording(first).sealed
    assert read_recording(second).sealed
    assert swept.phases.index("recording") < swept.phases.index("paused")
    kept = sentences(first) + sentences(second)
    in_the_pause = len(lines([c for c in quick_sweep if 1.1 < c[0] < 1.9]))
    assert len(kept) < len(lines(quick_sweep)) - in_the_pause


def test_a_recording_as_long_as_one_may_be_is_sealed_and_the_sweep_goes_on_in_another(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = lines(quick_sweep)
    limit = round(0.4 * len(sent))
    monkeypatch.setattr("logger.recording.writer.MOST_RECORDS", limit)
    swept = bench(quick_sweep)
    swept.sweep()
    parts = swept.recordings
    assert len(parts) == 3
    assert sum("as long as one may be" in said for said in swept.display.said) == 2
    for part in parts:
        read = read_recording(part)
        assert read.sealed
        assert read.text("point") == "eave"
        assert len(read.sentences) <= limit
    kept = {raw for part in parts for raw in sentences(part)}
    ended = sent.index(max(kept & set(sent), key=sent.index))
    assert sum(line not in kept for line in sent[: ended + 1]) == 0


def test_a_press_its_name_and_a_note_stand_at_the_moment_of_their_key(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    typed = [(1.0, "p"), (1.5, "lime"), (2.0, "\r"), (2.5, "d"), (4.0, "p-\r")]
    swept = bench(quick_sweep, [*typed, (4.5, "ngate open\r")])
    swept.sweep()
    recording, stream = load_stream(swept.recordings[0])
    assert not recording.problems
    (name,) = (note for note in stream.notes if note.label)
    assert (name.label, name.kind) == ("lime", "deciduous")
    assert name.t_s == pytest.approx(1.0, abs=0.1)
    presses = [key.t_s for key in stream.keys if key.key == 2]
    assert presses == pytest.approx([1.0, 4.0], abs=0.1)
    notes = [note for _, note in read_recording(swept.recordings[0]).notes]
    assert {"label": "", "kind": "", "at_s": pytest.approx(4.0, abs=0.1)} in notes
    assert {"text": "gate open", "at_s": pytest.approx(4.5, abs=0.1)} in notes


def test_a_redo_leaves_the_stretch_out_in_the_job_at_once(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep, [(2.0, "r")])
    swept.sweep()
    (edit,) = read_job(swept.job.folder).edits
    assert edit.point == "eave"
    assert edit.recording == swept.recordings[0].name  # type: ignore[attr-defined]
    assert 0 <= edit.from_s < edit.to_s == pytest.approx(2.0, abs=0.2)  # type: ignore[attr-defined]
    assert any("sweep that part again" in sentence for sentence in swept.display.said)
    assert "REDO" in cues(swept.link)
    assert swept.display.bells > 0


def test_a_press_key_held_down_is_a_redo_too(bench: MakeBench, quick_sweep: Chunks) -> None:
    held = encode(Key(1, 1000, 2, True)) + encode(Key(1, 2600, 2, False))
    tapped = encode(Key(1, 1000, 2, True)) + encode(Key(1, 1200, 2, False))
    for keys, dropped in ((tapped, 0), (held, 1)):
        swept = bench([*quick_sweep[:100], (2.7, keys), *quick_sweep[140:200]])
        swept.sweep(seconds=3.5)
        assert len(read_job(swept.job.folder).edits) == dropped


def test_the_trigger_opens_a_point_and_nothing_after_it_is_lost(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    # The opening press shares a chunk with the sentences after it, the last one cut in two.
    rest = b"".join(chunk for _, chunk in quick_sweep)
    cut = rest.index(b"\r\n") + 20
    swept = bench([(0.1, IDENTITY), (0.2, trigger() + rest[:cut]), (0.3, rest[cut:])])
    task = swept.task()
    assert swept.loop.wait_for_trigger(task)
    swept.loop.record(task)
    got = sentences(swept.recordings[0])
    assert got == [line for line in (trigger() + rest).split(b"\r\n") if line][1 : 1 + len(got)]
    assert len(got) > 100
    assert not [1 for kind, *_ in read_recording(swept.recordings[0]).records() if kind == b"x"]


def test_what_comes_while_waiting_is_shown_and_not_recorded(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench([*quick_sweep[:200], (6.0, trigger())])
    assert swept.loop.wait_for_trigger(swept.task(panel=lambda: ("the answer before",)))
    assert swept.recordings == []
    assert set(swept.phases) == {"waiting"}
    assert swept.display.states[-1].counts.samples > 10
    assert swept.display.states[-1].panel == ("the answer before",)


def test_a_port_silent_between_two_points_is_opened_again(bench: MakeBench) -> None:
    swept = bench([(0.1, IDENTITY)])
    swept.links.append(PlayedLink(swept.clock, [(0.1, IDENTITY), (0.5, trigger())]))
    assert swept.loop.wait_for_trigger(swept.task("gable"))
    assert swept.link.closed == 1


def test_a_port_that_is_gone_between_two_points_is_waited_for(
    bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept, tries = bench([]), 0

    def come_back() -> PlayedLink:
        nonlocal tries
        tries += 1
        if tries < 5:
            gone()
        return PlayedLink(swept.clock, [(0.1, IDENTITY), (0.2, trigger())])

    monkeypatch.setattr(swept.loop.port, "_open", come_back)
    assert swept.loop.wait_for_trigger(swept.task("gable"))
    assert tries == 5


def test_q_ends_the_day_while_a_lost_port_is_waited_for(
    bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept = bench([], [(5.0, "q")])
    monkeypatch.setattr(swept.loop.port, "_open", gone)
    assert not swept.loop.wait_for_trigger(swept.task("gable"))


def test_a_space_or_the_page_opens_a_point_as_the_trigger_does(bench: MakeBench) -> None:
    typed = bench([(0.1, IDENTITY)], [(1.0, " ")])
    assert typed.loop.wait_for_trigger(typed.task())
    assert typed.display.states[-1].to_do == "the trigger opens eave"
    tapped = bench([(0.1, IDENTITY)])
    tap = Action("pause", 1.0)
    tapped.display.take = lambda now_s, _: [tap] if now_s > 1.0 else []  # type: ignore[method-assign]
    assert tapped.loop.wait_for_trigger(tapped.task())


def test_a_silent_port_is_an_error_with_a_hint_and_leaves_no_recording(bench: MakeBench) -> None:
    swept = bench([])
    with pytest.raises(DeviceError, match="not one byte in 10 s") as caught:
        swept.sweep()
    assert "cable" in caught.value.hint
    assert swept.recordings == []
    assert swept.loop.taken == 0
    assert "nothing came: no recording is kept" in swept.display.said
    assert not list((swept.job.folder / "sweeps").glob("*/*.sweep"))


def test_bytes_that_are_no_sentence_are_told_and_are_no_silence(bench: MakeBench) -> None:
    swept = bench([(0.1 * n, b"\xf8\x00\x9c\xff\x1e\x80\x42" * 5) for n in range(80)])
    swept.sweep(seconds=6.0)
    assert swept.loop.taken == 0
    assert swept.loop.heard is not None
    assert "another speed or device" in swept.loop.heard.what
    (caution,) = swept.display.states[-1].warnings
    assert caution.kind == "silence"
    assert caution.words.endswith("another speed or device")
    assert not swept.display.states[5].warnings  # half a second is no time to say so


def test_silence_is_told_after_two_seconds(bench: MakeBench, quick_sweep: Chunks) -> None:
    swept = bench(quick_sweep[:60])
    swept.sweep(seconds=6.0)
    said = {state.first for state in swept.display.states if state.warnings}
    assert "nothing from the board for 4 s: check cable and power" in said


def test_a_bad_estimate_does_not_touch_the_sweep(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_asked: object) -> None:
        raise ArithmeticError("bad luck")

    monkeypatch.setattr("logger.live.estimate.estimated", fail)
    swept = bench(quick_sweep)
    swept.pool = AtOnce()
    swept.sweep()
    assert read_recording(swept.recordings[0]).sealed
    assert sum("bad luck" in sentence for sentence in swept.display.said) == 1


def test_corner_by_corner_each_hold_is_told_to_be_good(bench: MakeBench) -> None:
    swept = bench([c for c in board_chunks("corners", "street", Operator.calm()) if c[0] < 20.0])
    swept.sweep(seconds=21.0)
    words = swept.display.states[-1].facts[2]
    count = sum(sentence == HELD for sentence in swept.display.said)
    assert count >= 5
    assert words.endswith(f"{count} presses, {count} held still")
    assert cues(swept.link).count("GOOD") == count


def test_a_press_in_passing_is_told_to_be_good_for_a_name(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep, [(3.0, "p"), (3.1, "oak\rd")])
    swept.sweep()
    assert [line for line in swept.display.said if line == IN_PASSING] == [IN_PASSING]
    assert len(IN_PASSING) < 80


def test_a_board_that_is_lost_for_good_leaves_a_sealed_recording_to_answer_from(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept = bench(())
    swept.links[0] = swept.link = PlayedLink(swept.clock, quick_sweep[:150], then_gone=True)
    swept.loop.port.again()
    monkeypatch.setattr(swept.loop.port, "_open", gone)
    with pytest.raises(DeviceError, match="did not come back"):
        swept.sweep()
    assert swept.loop.taken > 100
    assert read_recording(swept.recordings[0]).sealed
    assert any(said.startswith("unplugged; what is recorded") for said in swept.display.said)


def test_a_caution_that_stays_is_not_sounded_at_every_picture(bench: MakeBench) -> None:
    # The sun stands low in the east-north-east at half past four.
    towards = replace(Operator.calm(), sectors=((60.0, 90.0),), passes=4)
    swept = bench(board_chunks(scene="open-meadow", operator=towards))
    swept.sweep(seconds=12.0)
    near = [s for s in swept.display.states if any(w.kind == "sun" for w in s.warnings)]
    assert len(near) > 50
    assert all(state.first.startswith("LOOK AWAY: the sun is") for state in near)
    assert 2 <= cues(swept.link).count("SUN") <= 5


def test_what_the_estimate_sees_is_what_is_recorded(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("logger.live.estimate.REST", 0.0)  # rounds by the played clock alone
    monkeypatch.setattr("logger.live.estimate.EVERY_S", 1.5)
    swept = bench(quick_sweep)
    swept.pool = AtOnce()
    swept.sweep()
    last = swept.display.states[-1]
    assert last.horizon is not None
    assert last.short.startswith("solar access ")
    seen = last.horizon.seen
    assert set(seen[185:205].tolist()) == {1}  # twice
    assert set(seen[100:140].tolist()) == {3}  # missing
    assert last.missing
    assert swept.display.states[0].to_do == "waiting for the board"


def test_a_recording_made_before_counts_in_the_estimate_until_it_is_excluded(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    first = bench(quick_sweep)
    first.sweep()
    (path,) = first.recordings

    def seen_again() -> set[int]:
        again = bench(quick_sweep[:100])
        again.pool = AtOnce()
        again.sweep(seconds=2.0)
        last = again.display.states[-1]
        again.recordings[0].unlink()
        assert last.short.startswith("solar access ")
        assert last.horizon is not None
        return set(last.horizon.seen[180:200].tolist())

    path.with_name("20260101T000000Z.sweep").write_text("no recording")
    assert seen_again() == {1}  # twice
    who = {"who": "A. Example", "when": "2026-05-15T07:30:00Z", "why": "a test"}
    entry = {"kind": "exclude-sweep", "point": "eave", "recording": path.name, **who}
    add_edit(first.job.folder, edit_from(entry))
    assert seen_again() == {3}  # missing


def test_nothing_in_a_name_steers_the_terminal(bench: MakeBench, quick_sweep: Chunks) -> None:
    from logger.cli.environment import visible

    swept = bench(quick_sweep)
    swept.loop.door = visible
    swept.loop.say("port \x1b[2J")
    swept.record(swept.task(panel=lambda: ("by \u202eevil",)), 1.0)
    assert swept.display.states[-1].panel == ()  # the answer before is not shown over a sweep
    texts = [*swept.display.said, *(s.message for s in swept.display.states)]
    assert "port \\x1b[2J" in texts
    assert not any("\x1b" in text for text in texts)
    waited = bench([(0.1, IDENTITY)], [(1.0, "q")])
    waited.loop.door = visible
    assert not waited.loop.wait_for_trigger(waited.task(panel=lambda: ("by \u202eevil",)))
    assert waited.display.states[-1].panel == ("by \\u202eevil",)


def test_a_calibrated_board_is_not_said_to_lack_a_calibration(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    # The board names itself before its first measurement; only then it shows that it is raw.
    named = next(line for line in lines(quick_sweep) if line.startswith(b"$PHLGI"))
    board = decode_sentence(named)
    assert isinstance(board, Identity)
    swept = bench([(0.0, named + b"\r\n"), *quick_sweep])
    (shipped,) = (shipped_survey() / "calibrations").glob("*compass.json")
    plain = json.loads(shipped.read_text()) | {"serial_number": board.serial_number}
    write_json(calibration_path(swept.job, "compass", STARTED).with_suffix(".json"), plain)
    swept.sweep(seconds=3.0)
    assert swept.display.states[-1].board == ""
    assert "magnetic field: compass not calibrated" not in swept.display.states[-1].facts
