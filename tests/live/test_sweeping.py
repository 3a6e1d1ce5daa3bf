import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_protocol import Cue, Identity, Key, decode_sentence, encode
from logger.errors import DeviceError
from logger.live.port import Port
from logger.live.screen import Frame
from logger.live.session import LiveView
from logger.live.sweeping import IN_PASSING
from logger.recording import read_recording
from logger.recording.load import decode_recording
from logger.recording.reader_thread import ReaderThread
from logger.simulation import Operator

from .conftest import Bench, Chunks, PlayedLink, board_chunks

MakeBench = Callable[..., Bench]


def recordings(bench: Bench) -> list[Path]:
    return bench.day.recordings


def sentences(path: Path) -> list[bytes]:
    return [raw for _, raw in read_recording(path).sentences]


def cues(link: PlayedLink) -> list[str]:
    found = (decode_sentence(line) for line in link.sent.split(b"\r\n") if line)
    return [cue.cue for cue in found if isinstance(cue, Cue)]


def trigger(t_ms: int = 10) -> bytes:
    return encode(Key(1, t_ms, 1, True)) + encode(Key(1, t_ms + 100, 1, False))


IDENTITY = encode(Identity(1, "played board", "0007", "1.0", 50, "A"))


def test_the_trigger_ends_a_point_and_its_recording_is_sealed(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep)
    swept.day.sweep("eave")
    (path,) = recordings(swept)
    recording = read_recording(path)
    assert recording.sealed
    assert recording.header["point"] == "eave"
    assert recording.header["purpose"] == "sweep"
    assert "leaf" not in recording.header
    sent = [line for _, chunk in quick_sweep for line in chunk.split(b"\r\n") if line]
    got = sentences(path)
    assert got == sent[: len(got)]
    assert any(raw.startswith(b"$PHLGK") and b",1,D" in raw for raw in got[-40:])


def test_the_board_is_told_that_it_is_over(bench: MakeBench, quick_sweep: Chunks) -> None:
    swept = bench(quick_sweep)
    swept.day.sweep("eave")
    assert cues(swept.link)[-1] == "OFF"


def test_bytes_that_are_no_sentence_are_told_and_are_no_silence(bench: MakeBench) -> None:
    noise = [(0.1 * n, b"\xf8\x00\x9c\xff\x1e\x80\x42" * 5) for n in range(80)]
    swept = bench(noise)
    swept.day.sweep("eave", seconds=6.0)
    assert swept.day.taken == 0
    assert swept.day.heard is not None
    assert "bytes, no sentence: another speed or device" in swept.day.heard.what
    assert swept.display.views[-1].nothing.endswith("bytes, no sentence: another speed or device")


def test_q_and_time_end_a_point_too(bench: MakeBench, quick_sweep: Chunks) -> None:
    typed = bench(quick_sweep, [(1.0, "q")])
    typed.day.sweep("eave")
    assert typed.clock.now_s == pytest.approx(1.0, abs=0.2)
    timed = bench(quick_sweep)
    timed.day.sweep("eave", seconds=2.0)
    assert timed.clock.now_s == pytest.approx(2.0, abs=0.2)


def test_ctrl_c_ends_a_point_and_keeps_its_recording(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept = bench(quick_sweep)
    read = swept.link.read

    def interrupted() -> bytes:
        if swept.clock.now_s > 1.0:
            raise KeyboardInterrupt
        return read()

    monkeypatch.setattr(swept.link, "read", interrupted)
    swept.day.sweep("eave")
    assert read_recording(recordings(swept)[0]).sealed


def test_space_stops_and_goes_on_in_a_new_recording(bench: MakeBench, quick_sweep: Chunks) -> None:
    swept = bench(quick_sweep, [(1.0, " "), (2.0, " ")])
    swept.day.sweep("eave")
    first, second = recordings(swept)
    assert read_recording(first).sealed
    assert read_recording(second).sealed
    states = [frame.state for frame in swept.display.frames]
    assert states.index("recording") < states.index("stopped")
    all_sent = [line for _, chunk in quick_sweep for line in chunk.split(b"\r\n") if line]
    kept = len(sentences(first)) + len(sentences(second))
    assert 0.8 * len(all_sent) < kept + 0.15 * len(all_sent)
    twice = set(sentences(first)) & set(sentences(second))
    assert all(raw.startswith(b"$PHLGI") for raw in twice)


def test_a_recording_as_long_as_one_may_be_is_sealed_and_the_sweep_goes_on_in_another(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = [line for _, chunk in quick_sweep for line in chunk.split(b"\r\n") if line]
    limit = round(0.4 * len(sent))
    monkeypatch.setattr("logger.recording.writer.MOST_RECORDS", limit)
    swept = bench(quick_sweep)
    swept.day.sweep("eave")
    parts = recordings(swept)
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


def test_a_mark_and_its_label_stand_at_the_moment_of_the_press(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep, [(1.0, "m"), (1.5, "lime"), (2.0, "\r"), (2.5, "d")])
    swept.day.sweep("eave")
    recording = read_recording(recordings(swept)[0])
    assert not recording.problems
    stream = decode_recording(recording)
    label = next(note for note in stream.notes if note.label)
    assert (label.label, label.kind) == ("lime", "deciduous")
    assert label.t_s == pytest.approx(1.0, abs=0.1)
    mark = next(key for key in stream.keys if key.key == 2)
    assert mark.t_s == pytest.approx(1.0, abs=0.1)


def test_a_note_is_kept_in_the_recording(bench: MakeBench, quick_sweep: Chunks) -> None:
    swept = bench(quick_sweep, [(1.0, "ncheck open\r")])
    swept.day.sweep("eave")
    notes = [note for _, note in read_recording(recordings(swept)[0]).notes]
    assert {"text": "check open", "at_s": pytest.approx(1.0, abs=0.1)} in notes


def test_a_redo_is_handed_over_as_a_span_of_the_recording(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep, [(2.0, "r")])
    swept.day.sweep("eave")
    ((name, start, end),) = swept.dropped
    assert name == recordings(swept)[0].name
    assert start < end == pytest.approx(2.0, abs=0.2)
    assert any("sweep that part again" in sentence for sentence in swept.display.said)
    assert "REDO" in cues(swept.link)
    assert swept.display.bells > 0


def test_the_trigger_opens_a_point_and_nothing_after_it_is_lost(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    # The opening press shares a chunk with the sentences after it, the last one cut in two.
    rest = b"".join(chunk for _, chunk in quick_sweep)
    cut = rest.index(b"\r\n") + 20
    later = [(0.3 + t, chunk) for t, chunk in [(0.0, rest[cut:])]]
    swept = bench([(0.1, IDENTITY), (0.2, trigger() + rest[:cut]), *later])
    assert swept.day.wait_for_trigger("eave")
    swept.day.sweep("eave")
    got = sentences(recordings(swept)[0])
    sent = [line for line in (trigger() + rest).split(b"\r\n") if line]
    assert got == sent[1 : 1 + len(got)]
    assert len(got) > 100
    assert not read_recording(recordings(swept)[0]).unsound


def test_what_comes_while_waiting_is_shown_and_not_recorded(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench([*quick_sweep[:200], (6.0, trigger())])
    assert swept.day.wait_for_trigger("eave")
    assert recordings(swept) == []
    assert {frame.state for frame in swept.display.frames} == {"trigger opens"}
    assert swept.display.views[-1].samples > 10


def test_a_port_silent_between_two_points_is_opened_again(bench: MakeBench) -> None:
    swept = bench([(0.1, IDENTITY)])
    swept.links.append(PlayedLink(swept.clock, [(0.1, IDENTITY), (0.5, trigger())]))
    assert swept.day.wait_for_trigger("gable")
    assert swept.link.closed == 1


def test_a_port_that_is_gone_between_two_points_is_waited_for(
    bench: MakeBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept = bench([])
    tries = 0

    def come_back() -> PlayedLink:
        nonlocal tries
        tries += 1
        if tries < 5:
            raise DeviceError("no such port")
        return PlayedLink(swept.clock, [(0.1, IDENTITY), (0.2, trigger())])

    monkeypatch.setattr(swept.day.port, "_open", come_back)
    assert swept.day.wait_for_trigger("gable")
    assert tries == 5


def test_q_ends_the_day_between_two_points(bench: MakeBench) -> None:
    assert not bench([(0.1, IDENTITY)], [(1.0, "q")]).day.wait_for_trigger("gable")


def test_the_last_answer_is_shown_between_two_points_only(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench([(0.1, IDENTITY), (0.2, trigger()), *[(0.3 + t, c) for t, c in quick_sweep]])
    swept.day.panel = ("eave, 41 s after it was opened:",)
    assert swept.day.wait_for_trigger("gable")
    swept.day.sweep("gable")
    panels = {frame.state: frame.panel for frame in swept.display.frames}
    assert panels["trigger opens"] == swept.day.panel
    assert panels["recording"] == ()


def test_a_board_that_never_says_a_word_is_an_error_with_a_hint(bench: MakeBench) -> None:
    with pytest.raises(DeviceError) as caught:
        bench([]).day.sweep("eave")
    assert "not one byte" in str(caught.value)


def test_a_bad_answer_so_far_does_not_touch_the_sweep(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    from dataclasses import replace

    def fail(_passes: object) -> None:
        raise ArithmeticError("bad luck")

    swept = bench(quick_sweep)
    swept.day.around = replace(swept.day.around, answer_of=fail)
    swept.day.sweep("eave")
    assert read_recording(recordings(swept)[0]).sealed
    assert any("bad luck" in sentence for sentence in swept.display.said)


def test_what_the_points_earlier_recordings_saw_counts_in_the_answer_so_far(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    from dataclasses import replace

    import numpy as np

    from logger.horizon_fit import SightedSweep
    from logger.orientation.sight_lines import SightLines

    one = np.zeros(1)
    before = SightedSweep(
        SightLines(one, one, one, one, one, np.ones(1, bool), np.array([""])), name="old"
    )
    read: list[str] = []
    answered: list[list[str]] = []

    def earlier(point: str):
        def passes() -> list[SightedSweep]:
            read.append(point)
            return [before]

        return passes

    def answer(passes: list[SightedSweep]) -> None:
        answered.append([p.name for p in passes])

    swept = bench(quick_sweep, [(1.0, " "), (2.0, " ")])
    swept.day.around = replace(swept.day.around, answer_of=answer, earlier=earlier)
    swept.day.sweep("eave")
    assert read == ["eave"]  # once, however often it is summed up and stopped
    assert all(names[0] == "old" for names in answered)


def test_corner_by_corner_each_hold_is_told_to_be_good(bench: MakeBench) -> None:
    chunks = [c for c in board_chunks("corners", "street", Operator.calm()) if c[0] < 20.0]
    swept = bench(chunks)
    swept.day.sweep("eave", seconds=21.0)
    view = swept.display.views[-1]
    assert view.marks >= 5
    assert view.held == view.marks
    assert sum("held still: good" in sentence for sentence in swept.display.said) == view.marks
    assert cues(swept.link).count("GOOD") == view.marks


def test_a_board_that_is_lost_for_good_leaves_a_sealed_recording_to_answer_from(
    bench: MakeBench, quick_sweep: Chunks, monkeypatch: pytest.MonkeyPatch
) -> None:
    swept = bench(())
    swept.links[0] = swept.link = PlayedLink(swept.clock, quick_sweep[:150], then_gone=True)
    swept.day.port.again()

    def gone() -> PlayedLink:
        raise DeviceError("no such port")

    monkeypatch.setattr(swept.day.port, "_open", gone)
    with pytest.raises(DeviceError, match="did not come back"):
        swept.day.sweep("eave")
    assert swept.day.taken > 100
    assert read_recording(recordings(swept)[0]).sealed


def test_a_screen_that_hangs_holds_up_no_record(bench: MakeBench, quick_sweep: Chunks) -> None:
    hangs_s = 60.0  # how long this test may take to fail; nothing waits so long otherwise
    drawing, screen_free, asked_for_more = (threading.Event() for _ in range(3))
    swept = bench(quick_sweep[:40])
    show = swept.display.show

    def hanging(view: LiveView, frame: Frame) -> None:
        drawing.set()
        assert screen_free.wait(hangs_s)
        show(view, frame)

    class WhileDrawing:
        url, write = "played", swept.link.write

        def read(self) -> bytes:
            if not drawing.wait(hangs_s) or not swept.link._chunks:
                asked_for_more.set()  # what came before has been recorded
            return swept.link._come()

        def close(self) -> None:
            swept.link.close()

    swept.display.show = hanging  # type: ignore[method-assign]
    day = replace(swept.day, port=Port(lambda: ReaderThread(WhileDrawing())))
    sweep = threading.Thread(target=lambda: day.sweep("eave", seconds=0.0))
    sweep.start()
    assert asked_for_more.wait(hangs_s), "nobody reads the port while the screen is drawn"
    on_disk = sentences(day.recordings[0])
    screen_free.set()
    sweep.join()
    sent = [line for _, chunk in quick_sweep[:40] for line in chunk.split(b"\r\n") if line]
    assert on_disk == sent


def test_a_silent_port_leaves_no_recording_behind(bench: MakeBench) -> None:
    swept = bench([])
    with pytest.raises(DeviceError, match="not one byte in 10 s"):
        swept.day.sweep("eave")
    assert recordings(swept) == []
    assert swept.day.taken == 0
    assert "nothing came: no recording is kept" in swept.display.said
    assert list(swept._folder.glob("*.sweep")) == []


def test_a_mark_in_passing_is_told_to_be_fine_for_a_name(
    bench: MakeBench, quick_sweep: Chunks
) -> None:
    swept = bench(quick_sweep, [(3.0, "m"), (3.1, "oak\rd")])
    swept.day.sweep("eave")
    told = [line for line in swept.display.said if line.startswith("marked in passing")]
    assert told == [IN_PASSING]
    assert len(IN_PASSING) < 80
