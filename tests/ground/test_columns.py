"""Columns are read-only and of one length, copied or locked in place."""

from dataclasses import dataclass

import numpy as np
import pytest

from logger.arrays import freeze_columns, lock_columns


@dataclass(frozen=True, eq=False)
class Pair:
    a: np.ndarray
    b: np.ndarray


def test_frozen_columns_are_copies():
    mine = np.zeros(3)
    pair = Pair(mine, np.ones(3))
    freeze_columns(pair, ("a", "b"))
    mine[0] = 9
    assert pair.a[0] == 0
    with pytest.raises(ValueError, match="read-only"):
        pair.b[0] = 1


def test_locked_columns_are_the_same_arrays_and_read_only():
    mine = np.zeros((3, 5))
    pair = Pair(mine, np.ones(5))
    lock_columns(pair, ("a", "b"))
    assert pair.a is mine
    with pytest.raises(ValueError, match="read-only"):
        mine[0, 0] = 1


def test_lengths_must_agree():
    for make in (freeze_columns, lock_columns):
        with pytest.raises(ValueError, match="Pair"):
            make(Pair(np.zeros(3), np.zeros(4)), ("a", "b"))


def test_a_column_of_one_value_takes_the_room_of_one_and_stays_what_it_was():
    mine = np.array(7.0)
    pair = Pair(np.broadcast_to(mine, 1000), np.broadcast_to(np.nan, (1000, 3)))
    assert freeze_columns(pair, ("a",)) == 1000
    freeze_columns(pair, ("b",), length=1000, width=3)
    mine[()] = 9
    assert (pair.a == 7).all()
    assert pair.b.shape == (1000, 3)
    assert np.isnan(pair.b).all()
    assert not any(pair.a.strides + pair.b.strides)
    with pytest.raises(ValueError, match="read-only"):
        pair.a[0] = 1
