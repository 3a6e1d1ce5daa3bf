"""Damage on the link is as much as asked for, the same every time, and composes."""

import pytest

from logger.simulation import Chunk, simulate_plane
from logger.simulation.faults import (
    Fault,
    damaged,
    double_bytes,
    drop_bytes,
    flip_bits,
    silence,
    stop_in_mid_sentence,
)


@pytest.fixture(scope="module")
def chunks() -> list[Chunk]:
    return list(simulate_plane(seconds_s=20.0).chunks)


def joined(chunks: list[Chunk]) -> bytes:
    return b"".join(text for _, text in chunks)


def test_the_stated_share_of_bytes_is_lost_doubled_or_flipped(chunks: list[Chunk]) -> None:
    whole = joined(chunks)
    n = len(whole)
    assert len(joined(drop_bytes(0.1)(chunks))) == pytest.approx(0.9 * n, rel=0.01)
    assert len(joined(double_bytes(0.1)(chunks))) == pytest.approx(1.1 * n, rel=0.01)
    flipped = joined(flip_bits(0.1)(chunks))
    differing = [a ^ b for a, b in zip(whole, flipped, strict=True) if a != b]
    assert len(differing) == pytest.approx(0.1 * n, rel=0.1)
    assert all(bits & (bits - 1) == 0 for bits in differing)


@pytest.mark.parametrize("fault", [drop_bytes(0.01), flip_bits(0.01), double_bytes(0.01)])
def test_damage_is_the_same_every_time(fault: Fault, chunks: list[Chunk]) -> None:
    assert fault(chunks) == fault(chunks) != chunks


def test_silence_starts_when_told(chunks: list[Chunk]) -> None:
    times = [t for t, _ in silence(5.0)(chunks)]
    assert 4.9 < max(times) < 5.0


def test_half_a_sentence_and_then_nothing(chunks: list[Chunk]) -> None:
    cut = stop_in_mid_sentence(5.0)(chunks)
    assert cut[-1][0] == pytest.approx(5.0, abs=0.05)
    assert joined(chunks).startswith(joined(cut))
    assert not joined(cut).endswith(b"\n")


def test_faults_compose_in_order(chunks: list[Chunk]) -> None:
    halved = damaged(chunks, (silence(4.0), stop_in_mid_sentence(3.0)))
    assert joined(halved) == joined(stop_in_mid_sentence(3.0)(chunks))
    assert damaged(chunks, (silence(3.0), stop_in_mid_sentence(4.0))) == silence(3.0)(chunks)
