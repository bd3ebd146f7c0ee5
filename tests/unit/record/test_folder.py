"""A new record makes room for itself only where an older record stands."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from leverproof.errors import InputError, UsageError
from leverproof.record import RecordWriter, read_record
from leverproof.record.bundle import open_record


def make(folder: Path, seed: int) -> None:
    with RecordWriter(folder, {"seed": seed}) as writer:
        writer.close("finished", 0)


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_new_and_empty_folders_are_taken(tmp_path: Path) -> None:
    make(tmp_path / "deep" / "new", 1)
    (tmp_path / "empty").mkdir()
    make(tmp_path / "empty", 2)
    assert read_record(tmp_path / "empty").header["seed"] == 2


def test_an_older_record_moves_and_replaces_the_one_before(tmp_path: Path) -> None:
    for seed in (1, 2, 3):
        make(tmp_path / "r", seed)
    assert read_record(tmp_path / "r").header["seed"] == 3
    assert read_record(tmp_path / "r.previous").header["seed"] == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r", "r.previous"]


def test_an_incomplete_record_is_a_record_too(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {"seed": 1}):
        pass
    make(tmp_path / "r", 2)
    assert not read_record(tmp_path / "r.previous").complete


@pytest.mark.parametrize("foreign", ["notes.txt", "record.jsonl"])
def test_anything_else_is_refused_and_untouched(tmp_path: Path, foreign: str) -> None:
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / foreign).write_text('{"kind":"header","program":"another"}\n')
    before = tree(tmp_path)
    with pytest.raises(UsageError) as caught:
        make(tmp_path / "r", 1)
    assert caught.value.where == str(tmp_path / "r")
    assert tree(tmp_path) == before


def test_a_file_or_link_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError):
        make(tmp_path / "file", 1)
    make(tmp_path / "real", 1)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(UsageError):
        make(tmp_path / "link", 2)
    assert read_record(tmp_path / "real").header["seed"] == 1


@pytest.mark.parametrize("case", ["not a record", "more than a record"])
def test_what_is_not_ours_is_never_deleted_with_the_previous(tmp_path: Path, case: str) -> None:
    if case == "not a record":
        (tmp_path / "r.previous").mkdir()
        (tmp_path / "r.previous" / "thesis.txt").write_text("years of work")
    else:
        make(tmp_path / "r", 0)
        make(tmp_path / "r", 1)
        (tmp_path / "r.previous" / "thesis.txt").write_text("years of work")
    if not (tmp_path / "r").exists():
        make(tmp_path / "r", 1)
    before = tree(tmp_path)
    with pytest.raises(UsageError):
        make(tmp_path / "r", 2)
    assert tree(tmp_path) == before


def test_a_place_that_cannot_be_made_is_a_usage_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError):
        make(tmp_path / "file" / "below", 1)


def test_a_record_that_is_being_written_is_left_alone(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {"seed": 1}) as first:
        with pytest.raises(UsageError) as caught:
            make(tmp_path / "r", 2)
        assert "still writing" in caught.value.message
        first.close("finished", 0)
    assert read_record(tmp_path / "r").header["seed"] == 1
    make(tmp_path / "r", 2)
    assert read_record(tmp_path / "r.previous").header["seed"] == 1


def test_the_lines_in_place_of_their_folder_are_told(tmp_path: Path) -> None:
    make(tmp_path / "r", 1)
    with pytest.raises(InputError) as caught:
        open_record(tmp_path / "r" / "record.jsonl")
    assert caught.value.hint == f"name its folder, {tmp_path / 'r'}"


@contextmanager
def files_of_at_most(size: int) -> Iterator[None]:
    """A disk that refuses what is longer."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_line_that_the_disk_refuses_is_taken_back_and_told(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {"seed": 1}) as writer:
        with files_of_at_most(20_000), pytest.raises(UsageError) as caught:
            writer.event("warning", message="x" * 40_000)
        assert "cannot write the record: File too large" in caught.value.message
        assert caught.value.where == str(tmp_path / "r")
        writer.event("warning", message="short")
        writer.close("stopped", 2)
    record = read_record(tmp_path / "r")
    assert record.complete
    assert [event.data["message"] for event in record.events] == ["short"]


def test_a_file_that_the_disk_refuses_leaves_no_part_of_it(tmp_path: Path) -> None:
    with RecordWriter(tmp_path / "r", {"seed": 1}) as writer:
        with files_of_at_most(20_000), pytest.raises(UsageError):
            writer.add_input("case", "long.toml", "x" * 40_000)
        writer.close("stopped", 2)
    assert [p.name for p in (tmp_path / "r").rglob("*") if p.is_file()] == ["record.jsonl"]
    assert read_record(tmp_path / "r").complete
