"""Files are kept verbatim, under names that lead nowhere else."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leverproof.record import RecordWriter, read_record
from leverproof.record.layout import safe_name

EVIL = [
    "../../etc/passwd",
    "..",
    ".",
    "",
    "/abs/x.toml",
    "a\\..\\b",
    "nul",
    "CON.toml",
    "x\x00y",
    "é",
    "a" * 400,
    ".h",
]


@pytest.mark.parametrize("name", EVIL)
def test_hostile_names_stay_inside(tmp_path: Path, name: str) -> None:
    with RecordWriter(tmp_path / "r", {}) as writer:
        where = writer.add_input(name, name, "text\r\n\ttab")
        writer.history(name, [])
        writer.close("finished", 0)
    inside = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert all(p.is_relative_to(tmp_path / "r") for p in inside)
    assert len(inside) == 3
    assert (tmp_path / "r" / where).read_bytes() == b"text\r\n\ttab"
    record = read_record(tmp_path / "r")
    record.verify()
    assert record.events[0].data == {"input": name, "name": name, "file": where}


@settings(database=None, deadline=None)
@given(st.text())
def test_a_safe_name_is_one_component(name: str) -> None:
    safe = safe_name(name)
    assert safe not in ("", ".", "..")
    assert not set(safe) - set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
    assert len(safe) <= 100
    assert safe_name(safe) == safe


def test_different_files_of_one_name_are_both_kept(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {}) as writer:
        first = writer.add_input("case", "a/idle.toml", "one")
        again = writer.add_input("case", "a/idle.toml", "one")
        second = writer.add_input("case", "b/idle.toml", "two")
        third = writer.add_input("case", "b/IDLE.toml", "three")
        writer.close("finished", 0)
    assert first == again == "inputs/case/idle.toml"
    assert len({first.lower(), second.lower(), third.lower()}) == 3
    assert [(tmp_path / "r" / p).read_text() for p in (first, second, third)] == ["one", "two", "three"]


def test_the_footer_gives_the_sum_of_every_file(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {}) as writer:
        path = writer.add_input("sheet", "corrie.toml", "x = 1\n")
        writer.close("finished", 0)
    footer = read_record(tmp_path / "r").footer
    assert footer is not None
    assert footer["files"] == {path: {"sha256": hashlib.sha256(b"x = 1\n").hexdigest(), "bytes": 6}}


def test_nothing_is_taken_after_the_footer(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {}) as writer:
        writer.close("finished", 0)
        with pytest.raises(RuntimeError):
            writer.event("late")
        with pytest.raises(RuntimeError):
            writer.add_input("case", "x", "y")
    with pytest.raises(RuntimeError):
        writer.event("later")
