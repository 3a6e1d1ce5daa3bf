"""Read-only numpy columns: the one way data are held in this program."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from typing import Any, Self, TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
# Strings that many rows share: a row takes the room of a reference, however long its words
Texts: TypeAlias = NDArray[np.object_]
Times: TypeAlias = NDArray[np.datetime64]
R = TypeVar("R")


def freeze_columns(
    record: Any,
    names: Iterable[str],
    *,
    dtype: Any = np.float64,
    length: int | None = None,
    width: int | None = None,
) -> int:
    """Replace fields of a frozen dataclass by read-only copies of one common length.

    Call it from ``__post_init__``; a caller's later writes to its own array then cannot change
    the record. A column of one value, as `np.broadcast_to` gives it, goes on taking the room of
    one.
    """
    for name in names:
        given = getattr(record, name)
        if isinstance(given, np.ndarray) and given.size > 1 and not any(given.strides):
            one = np.array(given.flat[0], dtype=dtype)
            column = np.broadcast_to(one, given.shape)
        else:
            column = np.array(given, dtype=dtype)
        if length is None:
            length = column.shape[0] if column.ndim else 0
        wanted = (length,) if width is None else (length, width)
        if column.shape != wanted:
            raise ValueError(
                f"{type(record).__name__}.{name} has shape {column.shape}, expected {wanted}"
            )
        column.flags.writeable = False
        object.__setattr__(record, name, column)
    return length or 0


def lock_columns(record: Any, names: Iterable[str]) -> None:
    """Make a frozen dataclass's own arrays read-only without copying them.

    For arrays that the program has just made for this record and that nobody else holds; what
    comes from a caller goes through `freeze_columns`.
    """
    lengths = set()
    for name in names:
        column = getattr(record, name)
        lengths.add(column.shape[-1])
        column.flags.writeable = False
    if len(lengths) > 1:
        raise ValueError(f"{type(record).__name__}: columns of {sorted(lengths)} rows")


class Columns:
    """A frozen dataclass of columns of one length, the first of its fields one of them."""

    def __len__(self) -> int:
        return len(getattr(self, fields(self)[0].name))  # type: ignore[arg-type]

    def rows(self, which: Any) -> Self:
        """The rows that a mask, an index array or a slice selects."""
        columns = {name: column[which] for name, column in _columns(self)}
        return replace(self, **columns)  # type: ignore[type-var]


def stacked(parts: Sequence[R], like: R | None = None) -> R:
    """The rows of one record after another; what is no column is that of the last, or of `like`."""
    pairs = zip(*map(_columns, parts), strict=True)
    columns = {same[0][0]: np.concatenate([column for _, column in same]) for same in pairs}
    return replace(parts[-1] if like is None else like, **columns)  # type: ignore[type-var]


def _columns(record: Any) -> list[tuple[str, NDArray[Any]]]:
    values = ((one.name, getattr(record, one.name)) for one in fields(record))
    return [(name, value) for name, value in values if isinstance(value, np.ndarray)]


def floats(values: ArrayLike) -> Floats:
    """Shorthand for a float64 array of ``values``."""
    return np.asarray(values, dtype=np.float64)
