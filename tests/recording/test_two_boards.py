"""A recording in which another board answers: what was measured with one is never another's."""

from dataclasses import replace

import pytest

from firmware_protocol import Identity, Key, encode
from logger.recording import StreamBuilder, load_stream, recording_checks
from logger.recording.samples import Note

from .conftest import attitude

FIRST = Identity(1, "crest", "0007", "1.0", 50, "AM")
SECOND = replace(FIRST, serial_number="0012")


def fed(*stretches):
    """A builder after stretches of (start in seconds, board's clock then, sentences or a gap)."""
    builder = StreamBuilder()
    for start_s, start_ms, sentences in stretches:
        if sentences == "gap":
            builder.note(Note(start_s, more={"link": "back"}))
            continue
        for n, sentence in enumerate(sentences):
            if not isinstance(sentence, Identity):
                sentence = replace(sentence, t_ms=start_ms + 20 * n)
            builder.feed(start_s + 0.02 * n, encode(sentence))
    return builder


def run(first, count):
    return [attitude(n) for n in range(first, first + count)]


def rows(builder):
    return [(board.first_row, board.identity.serial_number) for board in builder.boards]


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        # A lost link, and another board whose own clock began anew: it was there from the gap on,
        # although it says its name only later.
        (
            [(0, 9000, [FIRST, *run(0, 50)]), (3, 0, "gap"), (4, 100, run(0, 9)),
             (5, 1100, [SECOND, *run(20, 9)])],
            [(0, "0007"), (50, "0012")],
        ),
        # The same with a clock that happens to stand where the other's would.
        (
            [(0, 0, [FIRST, *run(0, 50)]), (3, 0, "gap"), (4, 4000, run(0, 9)),
             (5, 5000, [SECOND, *run(20, 9)])],
            [(0, "0007"), (50, "0012")],
        ),
        # No link was lost: its clock tells.
        (
            [(0, 9000, [FIRST, *run(0, 50)]), (1, 100, run(0, 9)), (2, 1100, [SECOND])],
            [(0, "0007"), (50, "0012")],
        ),
        # Nothing tells when: none of what came since the first last named itself is the first's.
        (
            [(0, 0, [FIRST, *run(0, 50), FIRST, *run(50, 10), SECOND, *run(60, 5)])],
            [(0, "0007"), (50, "0012")],
        ),
        # It says its name at its start, before its clock can tell.
        (
            [(0, 9000, [FIRST, *run(0, 50)]), (1, 0, [SECOND, *run(0, 9)])],
            [(0, "0007"), (50, "0012")],
        ),
        # One board that starts anew, or is set to another rate, stays the same.
        (
            [(0, 9000, [FIRST, *run(0, 50)]), (3, 0, "gap"), (4, 0, [FIRST, *run(0, 9)]),
             (5, 1000, [replace(FIRST, rate_hz=100)])],
            [(0, "0007")],
        ),
        # What comes before a board first names itself is that board's.
        ([(0, 0, [*run(0, 50), FIRST])], [(0, "0007")]),
    ],
    ids=["link", "link, like clocks", "clock", "unseen", "name first", "same", "named late"],
)  # fmt: skip
def test_where_another_board_begins(stretches, expected):
    assert rows(fed(*stretches)) == expected


def test_each_part_is_a_stream_with_its_own_board_rows_keys_and_notes():
    two = fed(
        (0, 9000, [FIRST, *run(0, 50), Key(50, 0, 2, True)]),
        (3, 0, "gap"),
        (4, 100, [SECOND, *run(7, 9), Key(16, 0, 2, True)]),
    )
    two.note(Note(4.1, "oak"))
    two.feed(5.0, b"noise\r\n")
    whole = two.stream()
    first, second = whole.by_board()
    assert (first.identity, second.identity) == (FIRST, SECOND)
    assert (len(first.samples), len(second.samples)) == (50, 9)
    assert [*first.samples.seq, *second.samples.seq] == list(whole.samples.seq)
    assert [len(part.keys) for part in (first, second)] == [1, 1]
    assert [note.label for note in second.notes] == ["oak"]
    # What was refused is counted once over all parts.
    assert (first.refused, second.refused) == (whole.refused, {})


@pytest.mark.parametrize("more", [[], [(1, 0, "gap"), (2, 0, [SECOND])]])
def test_one_board_is_one_part_and_a_board_that_only_said_its_name_is_none(more):
    one = fed((0, 0, [FIRST, *run(0, 9)]), *more).stream()
    assert one.by_board()[0] is one


def test_the_operator_is_told_at_once(bench, fifty_hertz):
    chunks = [(0.1, encode(FIRST)), *fifty_hertz(0, 9), (0.1, encode(SECOND)), *fifty_hertz(9, 9)]
    running = bench((chunks,)).run()
    assert running.said == [
        "another board answers, crest 0012 after crest 0007: each gets its own calibrations, or "
        "none"
    ]
    recording, stream = load_stream(running.close())
    checks = {check.check: check for check in recording_checks(recording, stream)}
    assert checks["recording readable"].passed
    assert not checks["one board"].passed
    assert "crest 0012 after crest 0007; each part gets" in checks["one board"].why


@pytest.mark.parametrize(
    ("header", "failed"),
    [
        ('h {"started":"2026-05-14T08:12:31Z"}\n', []),
        ('h {"point":"yard"}\n', ["recording dated"]),
        ('h {"started":"soon"}\n', ["recording dated"]),
        ("", ["recording dated"]),
    ],
)
def test_a_recording_that_does_not_say_when_it_was_started_fails_a_check(tmp_path, header, failed):
    path = tmp_path / "a.sweep"
    line = f"s 0.1 {encode(attitude(1)).decode()[:-2]}\n"
    path.write_text("horizon-logger recording 1\n" + header + line)
    checks = recording_checks(*load_stream(path))
    assert [check.check for check in checks if not check.passed] == failed
