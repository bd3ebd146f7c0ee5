"""Rows of the port as a unit's own values: by type, side by side in memory, so that a step passes addresses only."""

from __future__ import annotations

import ctypes
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.stand.port import Array
from leverproof.stand.trouble import trouble
from leverproof_adapters.fmi.plan import Wire

TICKS = 36_000
"""Ticks in a second."""


@dataclass(frozen=True, slots=True)
class Kind:
    """How values of a variable type travel: ``suffix`` of the C functions that set and get them, and the dtype."""

    suffix: str
    dtype: np.dtype[Any]


@dataclass(frozen=True, slots=True)
class Group:
    """The columns of one kind, their value references, and by place among them what the unit calls the states of a
    discrete channel."""

    kind: Kind
    columns: NDArray[np.int64]
    references: NDArray[np.uint32]
    states: Mapping[int, NDArray[np.int64]]

    @property
    def vector(self) -> tuple[ctypes.c_void_p, ctypes.c_size_t]:
        """Address and number of the value references, as C takes them."""
        return ctypes.c_void_p(self.references.ctypes.data), ctypes.c_size_t(len(self.references))

    def encoded(self, rows: Array) -> NDArray[Any]:
        """``rows`` (n, all columns) as values of this kind, contiguous (n, columns of the group).

        Raises :class:`StandError` for what a whole number or a state cannot be.
        """
        chosen = rows[:, self.columns]
        if self.kind.dtype.kind != "f":
            if not (chosen == np.floor(chosen)).all() or not np.isfinite(chosen).all():
                raise trouble("an input of whole numbers or states was given something else", "refused")
            for place, values in self.states.items():
                if not ((chosen[:, place] >= 0) & (chosen[:, place] < len(values))).all():
                    raise trouble("a discrete input was given a state the unit does not have", "refused")
                chosen[:, place] = values[chosen[:, place].astype(np.int64)]
        return np.ascontiguousarray(chosen, dtype=self.kind.dtype)

    def room(self, count: int) -> NDArray[Any]:
        """Values of this kind for ``count`` rows, not filled."""
        return np.empty((count, len(self.columns)), dtype=self.kind.dtype)

    def decode(self, held: NDArray[Any], out: Array) -> None:
        """The values ``held`` (n, columns of the group) into ``out`` (n, all columns).

        A value that is no state of a discrete channel becomes -1, which is no index either.
        """
        plain = held.astype(np.float64)
        for place, values in self.states.items():
            known = held[:, place, None] == values
            plain[:, place] = np.where(known.any(axis=1), known.argmax(axis=1), -1.0)
        out[:, self.columns] = plain


@dataclass(frozen=True, slots=True)
class Vectors:
    """Columns of the port by kind; ``width`` columns in all."""

    groups: tuple[Group, ...]
    width: int


def vectors(wires: Sequence[Wire], kinds: Mapping[str, Kind]) -> Vectors:
    """The vectors of ``wires`` in their order."""
    by_kind: dict[str, list[int]] = {}
    for column, wire in enumerate(wires):
        by_kind.setdefault(kinds[wire.type].suffix, []).append(column)
    return Vectors(tuple(_group(wires, columns, kinds) for columns in by_kind.values()), len(wires))


def _group(wires: Sequence[Wire], columns: list[int], kinds: Mapping[str, Kind]) -> Group:
    chosen = [wires[column] for column in columns]
    references = np.array([wire.reference for wire in chosen], dtype=np.uint32)
    states = {place: np.array(wire.values, np.int64) for place, wire in enumerate(chosen) if wire.values}
    return Group(kinds[chosen[0].type], np.array(columns, dtype=np.int64), references, states)


def addresses(array: NDArray[Any]) -> Sequence[int]:
    """The address of each row of ``array``, which must stay alive."""
    first, stride, count = array.ctypes.data, array.strides[0], array.shape[0]
    # The stride of a single row may be anything, even nothing.
    return range(first, first + stride * count, stride) if count > 1 else (first,) * count


def points(ticks: int, done: int, count: int) -> list[float]:
    """The ``count`` communication points after ``done`` steps of ``ticks``, in seconds: computed from the count,
    never summed."""
    found: list[float] = (np.arange(done, done + count, dtype=np.float64) * ticks / TICKS).tolist()
    return found
