"""A shared library as a session, for the worker process that hosts it. Importing this loads nothing yet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import MOST_NUMBERS
from leverproof_adapters.worker_c_interface import Integers

_MEANINGS = {1: "bad request", 2: "no memory", 3: "the model failed"}


class Library(Protocol):
    """A loaded library; numbers go by address. A model is whatever the loader passes on, 0 or None for none."""

    def describe(self) -> tuple[dict[str, Any], list[tuple[str, str, str]], list[tuple[str, str, str]]]:
        """The fields of the description, and name, unit and states of the inputs and the outputs."""
        ...

    def create(self, defect: str | None) -> Any:
        """A model, or something false."""
        ...

    def initialise(
        self, model: Any, step_ticks: int, running: Integers, columns: tuple[Integers, Integers], row: Array,
        reply: Array,
    ) -> int:  # fmt: skip
        """The code of ``leverproof_initialise``."""
        ...

    def advance(self, model: Any, lanes: Integers, rows: Array, reply: Array) -> int:
        """The code of ``leverproof_advance``."""
        ...

    def destroy(self, model: Any) -> None:
        """Gives the model back."""
        ...

    def last_error(self, model: Any) -> str:
        """The library's own words, empty when it has none."""
        ...


def hosted(settings: dict[str, Any]) -> Session:
    """The session of the library that ``settings`` name; raises :class:`StandError` for what is not one."""
    return LibrarySession(_load(settings["library"], settings.get("loader")), settings.get("defect"))


def _load(path: str, loader: str | None) -> Library:
    if loader not in (None, "ctypes", "cffi"):
        raise trouble(f"unknown loader {loader!r}: known are ctypes and cffi", "refused")
    if loader != "ctypes":
        try:
            from leverproof_adapters.worker_cffi import CffiLibrary

            return CffiLibrary(path)
        except ImportError:
            if loader == "cffi":
                raise trouble("cffi is not installed: install the extra 'clib'", "no_program") from None
    from leverproof_adapters.worker_ctypes import CtypesLibrary

    return CtypesLibrary(path)


class LibrarySession:
    """The port over a loaded library."""

    def __init__(self, library: Library, defect: str | None) -> None:
        self._library, self._defect = library, defect
        self._said = _hello(library)
        self._model: Any = self._created()
        self._outputs = 0

    def _created(self) -> Any:
        model = self._library.create(self._defect)
        if not model:
            what = "no memory" if self._defect is None else f"no such defect as {self._defect!r}, or no memory"
            raise trouble(f"leverproof_create returned NULL: {what}", "refused")
        return model

    def hello(self) -> Hello:
        """The description, as it was when the library was loaded."""
        return self._said

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        columns = (_numbers(self._said.inputs, inputs), _numbers(self._said.outputs, outputs))
        running = np.array([start.engine == "running" for start in starts], dtype=np.int32)
        row = np.array([start.row for start in starts], dtype=np.float64)
        reply = np.full((len(starts), len(outputs)), np.nan)
        code = self._library.initialise(self._model, step_ticks, running, columns, row, reply)
        self._check(code, "leverproof_initialise")
        self._outputs = len(outputs)
        return reply

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        reply = np.full((rows.shape[0], len(lanes), self._outputs), np.nan)
        chosen = np.array(lanes, dtype=np.int32)
        code = self._library.advance(self._model, chosen, np.ascontiguousarray(rows), reply)
        self._check(code, "leverproof_advance")
        return reply

    def reset(self) -> None:
        """A fresh model in place of the old one."""
        self._library.destroy(self._model)
        self._model = self._created()

    def close(self) -> None:
        """Gives the model back."""
        self._library.destroy(self._model)
        self._model = None

    def _check(self, code: int, function: str) -> None:
        if code == 0:
            return
        said = self._library.last_error(self._model)
        meaning = _MEANINGS.get(code, "a code that the header does not know")
        raise trouble(f"{function} returned {code} ({meaning}){': ' if said else ''}{said}", "refused")


def _numbers(signals: Sequence[Signal], names: Sequence[str]) -> Integers:
    known = {signal.name: number for number, signal in enumerate(signals)}
    return np.array([known[name] for name in names], dtype=np.int32)


def _hello(library: Library) -> Hello:
    fields, inputs, outputs = library.describe()
    can = Capabilities(lanes=fields["lanes"], max_values=MOST_NUMBERS, deterministic=fields["deterministic"] == 1)
    if can.lanes < 1:
        raise trouble(f"the description says {can.lanes} lanes", "protocol")
    return Hello(
        model=fields["name"],
        version=fields["version"],
        inputs=tuple(_signal(*entry) for entry in inputs),
        outputs=tuple(_signal(*entry) for entry in outputs),
        capabilities=can,
        derived_from=fields["derived_from"],
    )


def _signal(name: str, unit: str, states: str) -> Signal:
    return Signal(name, unit, tuple(states.split(",")) if states else ())
