"""A shared library through ``cffi`` (the extra ``clib``), for the worker process: the types come from the published
header itself, so the two cannot drift apart."""

from __future__ import annotations

from typing import Any

import cffi

from leverproof.stand.port import Array
from leverproof.stand.trouble import trouble
from leverproof_adapters.c_library import header
from leverproof_adapters.worker_c_interface import (
    Integers,
    checked_count,
    checked_interface,
    no_function,
    no_library,
)

_FUNCTIONS = ("interface", "describe", "create", "initialise", "advance", "destroy")


class CffiLibrary:
    """A loaded library; raises :class:`StandError` for a file that is not one of this interface."""

    def __init__(self, path: str) -> None:
        self._ffi = _interface()
        try:
            self._library = self._ffi.dlopen(path)
        except OSError as reason:
            raise no_library(path, str(reason)) from reason
        for name in _FUNCTIONS:
            if not self._has(f"leverproof_{name}"):
                raise no_function(path, f"leverproof_{name}")
        checked_interface(self._library.leverproof_interface(), path)
        self._talks = self._has("leverproof_last_error")

    def _has(self, name: str) -> bool:
        try:
            getattr(self._library, name)
        except AttributeError:
            return False
        return True

    def _text(self, pointer: Any) -> str:
        null = pointer == self._ffi.NULL
        return "" if null else bytes(self._ffi.string(pointer)).decode("utf-8", "replace")

    def _signals(self, pointer: Any, count: int, kind: str) -> list[tuple[str, str, str]]:
        if pointer == self._ffi.NULL:
            raise trouble(f"the description has no {kind}", "protocol")
        entries = (pointer[number] for number in range(checked_count(count, kind)))
        return [(self._text(entry.name), self._text(entry.unit), self._text(entry.states)) for entry in entries]

    def describe(self) -> tuple[dict[str, Any], list[tuple[str, str, str]], list[tuple[str, str, str]]]:
        """See :class:`leverproof_adapters.worker_c_library.Library`."""
        said = self._library.leverproof_describe()
        if said == self._ffi.NULL:
            raise trouble("leverproof_describe returned NULL", "protocol")
        fields = {name: self._text(getattr(said, name)) for name in ("name", "version", "derived_from")}
        numbers = {name: getattr(said, name) for name in ("lanes", "deterministic")}
        return (
            {**fields, **numbers},
            self._signals(said.inputs, said.input_count, "inputs"),
            self._signals(said.outputs, said.output_count, "outputs"),
        )

    def create(self, defect: str | None) -> Any:
        """A pointer to a model, false for NULL."""
        return self._library.leverproof_create(self._ffi.NULL if defect is None else defect.encode("utf-8"))

    def _integers(self, array: Integers) -> Any:
        return self._ffi.from_buffer("int32_t[]", array)

    def initialise(
        self, model: Any, step_ticks: int, running: Integers, columns: tuple[Integers, Integers], row: Array,
        reply: Array,
    ) -> int:  # fmt: skip
        """The code of ``leverproof_initialise``."""
        inputs, outputs = columns
        return int(
            self._library.leverproof_initialise(
                model, step_ticks, len(running), self._integers(running), len(inputs), self._integers(inputs),
                len(outputs), self._integers(outputs), self._ffi.from_buffer("double[]", row),
                self._ffi.from_buffer("double[]", reply, require_writable=True),
            )
        )  # fmt: skip

    def advance(self, model: Any, lanes: Integers, rows: Array, reply: Array) -> int:
        """The code of ``leverproof_advance``."""
        return int(
            self._library.leverproof_advance(
                model, len(lanes), self._integers(lanes), rows.shape[0], self._ffi.from_buffer("double[]", rows),
                self._ffi.from_buffer("double[]", reply, require_writable=True),
            )
        )  # fmt: skip

    def destroy(self, model: Any) -> None:
        """Gives the model back."""
        self._library.leverproof_destroy(self._ffi.NULL if model is None else model)

    def last_error(self, model: Any) -> str:
        """The library's own words, empty when it has none."""
        return self._text(self._library.leverproof_last_error(model)) if self._talks else ""


def _interface() -> Any:
    """The types and functions that the header declares."""
    text = header().read_text("utf-8")
    ffi = cffi.FFI()
    ffi.cdef(text.partition("/* begin of the declarations")[2].partition("*/")[2].partition("/* end of")[0])
    return ffi
