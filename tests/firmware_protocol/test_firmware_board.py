"""The core's board on the host, under the sanitizers: what it sends when, and what it keeps."""

import itertools
import random
import subprocess

import pytest

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
    Sound,
    encode,
)


@pytest.fixture
def play(host_programs):
    def run(*script):
        done = subprocess.run(
            [host_programs / "board"],
            input="\n".join(script).encode() + b"\n",
            capture_output=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr.decode()
        decoder = Decoder()
        pieces = decoder.feed(done.stdout)
        assert all(isinstance(piece, Sound) for piece in pieces)
        return decoder, [piece.sentence for piece in pieces]

    return run


def sent(sentence):
    return f"b {encode(sentence).hex()}"


def only(kind, sentences):
    return [sentence for sentence in sentences if isinstance(sentence, kind)]


def test_counters_wrap_without_a_lost_instant(play):
    decoder, sentences = play("w 4294966000 65500", "t 2000 0")
    instants = only(Attitude, sentences)
    assert len(instants) == 100
    assert instants[0].seq == 65501
    assert instants[-1].seq == (65501 + 99) % 65536
    assert instants[-1].t_ms < 1000 < instants[0].t_ms
    assert decoder.lost == 0


@pytest.mark.parametrize("rate_hz", [1, 3, 7, 30, 48, 99, 150])
def test_a_second_holds_exactly_the_instants_asked_for(play, rate_hz):
    _, sentences = play("t 1 0", sent(Configure(rate_hz, "A")), "t 3000 0")
    times = [s.t_ms for s in only(Attitude, sentences)]
    assert len(times) == 3 * rate_hz
    gaps = {after - before for before, after in itertools.pairwise(times)}
    assert len(gaps) <= 2
    assert max(gaps) - min(gaps) <= 1


def test_a_full_link_drops_whole_sentences_and_says_so(play):
    decoder, sentences = play("t 500 0", "r 0", "t 1000 0", "r 1", "t 500 0")
    assert [(f.code, f.text) for f in only(Fault, sentences)] == [("OVERRUN", "sentences dropped")]
    assert decoder.lost == 50


def test_a_key_waits_for_room(play):
    _, sentences = play("t 100 0", "r 0", "t 300 1", "r 1", "t 300 1", "t 300 0")
    assert [(key.key, key.down) for key in only(Key, sentences)] == [(1, True), (1, False)]


def test_an_answer_waits_for_room(play):
    _, sentences = play("t 100 0", "r 0", sent(Query()), "t 200 0", "r 1", "t 100 0")
    assert len(only(Identity, sentences)) == 2


def test_a_condition_is_reported_at_once_and_every_5_s(play):
    _, sentences = play("t 1000 0", "c 2 1", "t 10500 0", "c 2 0", "t 10000 0")
    times = [fault.t_ms for fault in only(Fault, sentences)]
    assert len(times) == 3
    assert times[0] == 1001
    assert all(abs(after - before - 5000) <= 1 for before, after in itertools.pairwise(times))


def test_a_flickering_condition_does_not_fill_the_link(play):
    script = [row for _ in range(500) for row in ("c 3 1", "t 10 0", "c 3 0", "t 10 0")]
    _, sentences = play(*script)
    assert len(only(Fault, sentences)) <= 3


def test_settings_within_85_percent_of_the_link_and_none_beyond(play):
    # 57, 78 and 59 bytes are the longest A, M and G of this sensor; 9792 bytes/s are 85 %
    in_force = {}
    for streams, longest in (("A", 57), ("M", 78), ("G", 59), ("AM", 135), ("AMG", 194)):
        highest = 9792 // longest
        _, sentences = play("t 1 0", sent(Configure(highest, streams)), "t 10 0")
        in_force[streams] = only(Identity, sentences)[-1].rate_hz == highest
        _, sentences = play("t 1 0", sent(Configure(highest + 1, streams)), "t 10 0")
        assert [f.code for f in only(Fault, sentences)] == ["CONFIG"]
        assert only(Identity, sentences)[-1].rate_hz == 50
    assert all(in_force.values())


def test_nothing_the_world_does_upsets_it(play):
    chance = random.Random(8)
    script = []
    for _ in range(3000):
        match chance.randrange(6):
            case 0:
                script.append(f"b {chance.randbytes(chance.randint(0, 300)).hex() or '0a'}")
            case 1:
                script.append(f"r {chance.randrange(2)}")
            case 2:
                script.append(f"c {chance.randrange(5)} {chance.randrange(2)}")
            case 3:
                settings = Configure(chance.randint(1, 200), chance.choice(["A", "MG", "AMG"]))
                script.append(sent(chance.choice([settings, Query(), Cue("SUN"), Cue("OFF")])))
            case _:
                script.append(f"t {chance.randint(1, 100)} {chance.randrange(4)}")
    script += ["r 1", "b 0d0a", sent(Configure(20, "M")), "t 1000 0"]
    _, sentences = play(*script)
    last = only(Identity, sentences)[-1]
    assert (last.rate_hz, last.streams) == (20, "M")
    assert len([s for s in sentences[-25:] if isinstance(s, RawField)]) >= 18
    downs = {1: False, 2: False}
    for key in only(Key, sentences):
        assert key.down != downs[key.key]  # down and up take turns
        downs[key.key] = key.down
