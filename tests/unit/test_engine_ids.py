"""Names of cases on one of several engines."""

from __future__ import annotations

import pytest

from leverproof.engine_ids import case_and_engine, on_engine
from leverproof.record.layout import histories_path


@pytest.mark.parametrize("engine", [1, 2, 8])
def test_there_and_back(engine: int) -> None:
    assert case_and_engine(on_engine("idle-speed", engine, 8)) == ("idle-speed", engine)


def test_one_engine_has_no_mark() -> None:
    assert on_engine("idle-speed", 1, 1) == "idle-speed"
    assert case_and_engine("idle-speed") == ("idle-speed", None)


@pytest.mark.parametrize("name", ["@2x", "x@", "x@-1", "x@two", "x@\u0662"])
def test_what_only_looks_like_it(name: str) -> None:
    assert case_and_engine(name) == (name, None)


def test_files_of_the_record_stay_apart_and_readable() -> None:
    assert histories_path("idle-speed@2") == "histories/idle-speed@2.npz"
