"""Mappings that hold no more than so many keys, and end with the same ones whatever order things came in."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

K = TypeVar("K")
V = TypeVar("V")


class Least(Generic[K, V]):
    """Keeps what belongs to the ``most`` least keys. A key that has been dropped never comes back, and one that is kept
    at the end was never dropped: so what it holds is whole, and the same in any order. ``left_out`` tells whether any
    key was dropped."""

    def __init__(self, most: int, make: Callable[[], V]) -> None:
        self._most, self._make = most, make
        self._held: dict[K, V] = {}
        self._greatest: list[_Falling[K]] = []
        self._limit: K | None = None

    def at(self, key: K) -> V | None:
        """What belongs to the key, made where it is new; None where the key is not kept."""
        found = self._held.get(key)
        if found is not None:
            return found
        if self._limit is not None and not key < self._limit:  # type: ignore[operator]
            return None
        made = self._held[key] = self._make()
        heapq.heappush(self._greatest, _Falling(key))
        if len(self._held) > self._most:
            self._limit = heapq.heappop(self._greatest).key
            del self._held[self._limit]
        return made if key in self._held else None

    def drop(self) -> V:
        """Drops the greatest key, and gives what it held."""
        self._limit = heapq.heappop(self._greatest).key
        return self._held.pop(self._limit)

    @property
    def left_out(self) -> bool:
        """Whether any key was dropped."""
        return self._limit is not None

    def items(self) -> Iterator[tuple[K, V]]:
        """Keys and what belongs to them, the least key first."""
        for key in sorted(self._held):  # type: ignore[type-var]
            yield key, self._held[key]

    def __len__(self) -> int:
        return len(self._held)


class _Falling(Generic[K]):
    """A key in a heap that gives the greatest first."""

    __slots__ = ("key",)

    def __init__(self, key: K) -> None:
        self.key = key

    def __lt__(self, other: _Falling[K]) -> bool:
        return bool(other.key < self.key)  # type: ignore[operator]
