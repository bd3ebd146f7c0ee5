"""A shared library through ``ctypes``, for the worker process."""

from __future__ import annotations

import ctypes
from typing import Any

from leverproof.stand.port import Array
from leverproof.stand.trouble import trouble
from leverproof_adapters.worker_c_interface import (
    Integers,
    checked_count,
    checked_interface,
    no_function,
    no_library,
)


class _Signal(ctypes.Structure):
    _fields_ = (("name", ctypes.c_char_p), ("unit", ctypes.c_char_p), ("states", ctypes.c_char_p))


class _Description(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("version", ctypes.c_char_p),
        ("derived_from", ctypes.c_char_p),
        ("lanes", ctypes.c_int32),
        ("deterministic", ctypes.c_int32),
        ("input_count", ctypes.c_int32),
        ("output_count", ctypes.c_int32),
        ("inputs", ctypes.POINTER(_Signal)),
        ("outputs", ctypes.POINTER(_Signal)),
    )


_I, _P = ctypes.c_int32, ctypes.c_void_p
_FUNCTIONS: dict[str, tuple[Any, list[Any]]] = {
    "leverproof_interface": (_I, []),
    "leverproof_describe": (ctypes.POINTER(_Description), []),
    "leverproof_create": (_P, [ctypes.c_char_p]),
    "leverproof_initialise": (_I, [_P, _I, _I, _P, _I, _P, _I, _P, _P, _P]),
    "leverproof_advance": (_I, [_P, _I, _P, _I, _P, _P]),
    "leverproof_destroy": (None, [_P]),
}


class CtypesLibrary:
    """A loaded library; raises :class:`StandError` for a file that is not one of this interface."""

    def __init__(self, path: str) -> None:
        try:
            self._library = ctypes.CDLL(path)
        except OSError as reason:
            raise no_library(path, str(reason)) from reason
        self._call = {name: self._function(path, name) for name in _FUNCTIONS}
        checked_interface(self._call["leverproof_interface"](), path)
        self._words = getattr(self._library, "leverproof_last_error", None)
        if self._words is not None:
            self._words.restype, self._words.argtypes = ctypes.c_char_p, [_P]

    def _function(self, path: str, name: str) -> Any:
        try:
            function = getattr(self._library, name)
        except AttributeError:
            raise no_function(path, name) from None
        function.restype, function.argtypes = _FUNCTIONS[name]
        return function

    def describe(self) -> tuple[dict[str, Any], list[tuple[str, str, str]], list[tuple[str, str, str]]]:
        """See :class:`leverproof_adapters.worker_c_library.Library`."""
        pointer = self._call["leverproof_describe"]()
        if not pointer:
            raise trouble("leverproof_describe returned NULL", "protocol")
        said = pointer.contents
        fields = {name: _text(getattr(said, name)) for name in ("name", "version", "derived_from")}
        numbers = {name: getattr(said, name) for name in ("lanes", "deterministic")}
        return (
            {**fields, **numbers},
            _signals(said.inputs, said.input_count, "inputs"),
            _signals(said.outputs, said.output_count, "outputs"),
        )

    def create(self, defect: str | None) -> Any:
        """The address of a model, None for NULL."""
        return self._call["leverproof_create"](None if defect is None else defect.encode("utf-8"))

    def initialise(
        self, model: Any, step_ticks: int, running: Integers, columns: tuple[Integers, Integers], row: Array,
        reply: Array,
    ) -> int:  # fmt: skip
        """The code of ``leverproof_initialise``."""
        inputs, outputs = columns
        code: int = self._call["leverproof_initialise"](
            model, step_ticks, len(running), running.ctypes.data, len(inputs), inputs.ctypes.data, len(outputs),
            outputs.ctypes.data, row.ctypes.data, reply.ctypes.data,
        )  # fmt: skip
        return code

    def advance(self, model: Any, lanes: Integers, rows: Array, reply: Array) -> int:
        """The code of ``leverproof_advance``."""
        code: int = self._call["leverproof_advance"](
            model, len(lanes), lanes.ctypes.data, rows.shape[0], rows.ctypes.data, reply.ctypes.data
        )
        return code

    def destroy(self, model: Any) -> None:
        """Gives the model back."""
        self._call["leverproof_destroy"](model)

    def last_error(self, model: Any) -> str:
        """The library's own words, empty when it has none."""
        return "" if self._words is None else _text(self._words(model))


def _text(value: bytes | None) -> str:
    return "" if value is None else value.decode("utf-8", "replace")


def _signals(pointer: Any, count: int, kind: str) -> list[tuple[str, str, str]]:
    if not pointer:
        raise trouble(f"the description has no {kind}", "protocol")
    entries = (pointer[number] for number in range(checked_count(count, kind)))
    return [(_text(entry.name), _text(entry.unit), _text(entry.states)) for entry in entries]
