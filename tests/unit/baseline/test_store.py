"""Baselines that somebody has edited, cut, merged or made up: an error that says where, never a pass, never a crash."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from leverproof.baseline.accept import Wish, accept
from leverproof.baseline.check import check
from leverproof.baseline.drift import past
from leverproof.baseline.layout import ACCEPTED, LOG, canonical, digest
from leverproof.baseline.store import read_baseline, read_versions
from leverproof.errors import InputError, LeverproofError
from leverproof.record.reader import Record

from .invented import Flight, Samples, write

FILES = (ACCEPTED, LOG, "versions/0001.json", "versions/0002.json")


def louder(run: str, data: dict[str, Samples]) -> None:
    data["brake_power"] += 40.0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Record]:
    """A baseline of two versions, and the record of the second."""
    folder = tmp_path_factory.mktemp("made")
    accept(write(folder / "one", Flight()), folder / "held", Wish("Ann", "first"))
    record = write(folder / "two", Flight(change=louder))
    accept(record, folder / "held", Wish("Bob", "second"))
    return folder / "held", record


def looked_at(folder: Path, record: Record) -> Any:
    """Everything the commands do with a baseline."""
    kept = read_baseline(folder)
    return check(record, kept).passed, past(kept, read_versions(kept))


def copied(made: tuple[Path, Record], folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(made[0], folder)
    return folder


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), name=st.sampled_from(FILES))
def test_bytes_that_are_others(made: tuple[Path, Record], tmp_path: Path, data: st.DataObject, name: str) -> None:
    folder = copied(made, tmp_path / "held")
    path = folder / name
    content = bytearray(path.read_bytes())
    kind = data.draw(st.sampled_from(("flip", "cut", "put", "twice")))
    at = data.draw(st.integers(0, len(content) - 1))
    if kind == "flip":
        content[at] ^= 1 << data.draw(st.integers(0, 7))
    elif kind == "cut":
        del content[at:]
    elif kind == "put":
        content[at:at] = data.draw(
            st.sampled_from((b"9", b"-", b'"', b"{", b"\xff", b"NaN", b"1e999", b"<<<<<<< HEAD\n"))
        )
    else:
        content += content[at:]
    path.write_bytes(bytes(content))
    try:
        before, after = documents(made[0] / name), documents(path)
    except ValueError:
        before, after = [""], []
    if before == after:
        assert looked_at(folder, made[1])[0]
        return
    with pytest.raises(InputError) as caught:
        looked_at(folder, made[1])
    assert str(path) in caught.value.where or str(folder) in caught.value.where
    assert caught.value.hint


def documents(path: Path) -> list[str]:
    """What a file says, whatever its blanks: ValueError where it is not what JSON allows."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len(dict(pairs)) != len(pairs):
            raise ValueError
        return dict(pairs)

    text = path.read_bytes().decode("utf-8")
    parts = text.replace("\r\n", "\n").removesuffix("\n").split("\n") if path.name == LOG else [text]
    return [canonical(json.loads(part, object_pairs_hook=once)) for part in parts]


JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(-5, 5), st.just(10**400), st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(("", "NaN", "Infinity", "-Infinity", "pass", "a/b", "x")), st.just([]), st.just({}), st.just([[]]),
)  # fmt: skip


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    out = [path] if path else []
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, item in items:
        out += places(item, (*path, key))
    return out


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_made_up_baseline_with_right_sums_is_an_answer_or_an_error(
    made: tuple[Path, Record], tmp_path: Path, data: st.DataObject
) -> None:
    """Whoever writes new sums into every file is not found out; the commands still end as they should."""
    folder = copied(made, tmp_path / "held")
    name = data.draw(st.sampled_from((ACCEPTED, "versions/0002.json")))
    document = json.loads((folder / name).read_text("utf-8"))
    path = data.draw(st.sampled_from(places(document)))
    node = document
    for key in path[:-1]:
        node = node[key]
    if data.draw(st.booleans()):
        node[path[-1]] = data.draw(JUNK)
    elif isinstance(node, dict):
        node[data.draw(st.sampled_from(("x", "", "a/b/c")))] = node.pop(path[-1])
    else:
        node.pop(path[-1])
    forged(folder, name, document)
    try:
        looked_at(folder, made[1])
    except LeverproofError as problem:
        assert problem.where


def forged(folder: Path, name: str, document: Any) -> None:
    """Writes a document and every sum that it changes."""
    lines = (folder / LOG).read_text("utf-8").splitlines()
    last = json.loads(lines[-1])
    accepted = document if name == ACCEPTED else json.loads((folder / ACCEPTED).read_text("utf-8"))
    if name != ACCEPTED:
        last["numbers"] = digest(document)
        (folder / name).write_text(json.dumps(document), "utf-8")
    if isinstance(accepted.get("cases"), dict):
        accepted["sums"] = {key: digest(case) for key, case in accepted["cases"].items()}
    accepted["acceptance"] = digest({key: value for key, value in last.items() if key != "baseline"})
    last["baseline"] = digest({key: value for key, value in accepted.items() if key != "cases"})
    (folder / ACCEPTED).write_text(json.dumps(accepted), "utf-8")
    (folder / LOG).write_text("\n".join([*lines[:-1], json.dumps(last)]) + "\n", "utf-8")


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('"engine_speed":2', '"engine_speed":9', "cases.boost-up"),
        ('"by":"Ann"', '"by":"Eve"', f"{LOG}:2"),
        ('"by":"Bob"', '"by":"Eve"', f"{LOG}:2"),
        ('"why":"first"', '"why":"never"', f"{LOG}:2"),
        ('"value":4.0', '"value":400.0', ACCEPTED),
    ],
)
def test_an_edit_by_hand_is_told_with_file_and_key(
    made: tuple[Path, Record], tmp_path: Path, old: str, new: str, where: str
) -> None:
    folder = copied(made, tmp_path / "held")
    edited = [path for path in folder.rglob("*.json*") if old in path.read_text("utf-8")]
    assert edited
    for path in edited:
        path.write_text(path.read_text("utf-8").replace(old, new), "utf-8")
    with pytest.raises(InputError, match="not") as caught:
        looked_at(folder, made[1])
    assert where in caught.value.where


def test_line_ends_and_blanks_of_version_control_change_nothing(made: tuple[Path, Record], tmp_path: Path) -> None:
    folder = copied(made, tmp_path / "held")
    for path in folder.rglob("*.json*"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert looked_at(folder, made[1])[0]


@pytest.mark.parametrize("name", FILES)
def test_a_missing_file_is_told(made: tuple[Path, Record], tmp_path: Path, name: str) -> None:
    folder = copied(made, tmp_path / "held")
    (folder / name).unlink()
    with pytest.raises(InputError, match="missing") as caught:
        looked_at(folder, made[1])
    assert name in caught.value.where


def test_a_log_with_a_line_taken_out_is_told(made: tuple[Path, Record], tmp_path: Path) -> None:
    folder = copied(made, tmp_path / "held")
    lines = (folder / LOG).read_text("utf-8").splitlines(keepends=True)
    (folder / LOG).write_text(lines[1], "utf-8")
    with pytest.raises(InputError, match="version 2 stands where version 1 should"):
        read_baseline(folder)
    (folder / LOG).write_text(lines[0], "utf-8")
    with pytest.raises(InputError, match="cut short"):
        read_baseline(folder)
    (folder / LOG).write_text("", "utf-8")
    with pytest.raises(InputError, match=r"no acceptance"):
        read_baseline(folder)


def test_another_format_is_told_as_such(made: tuple[Path, Record], tmp_path: Path) -> None:
    folder = copied(made, tmp_path / "held")
    document = json.loads((folder / ACCEPTED).read_text("utf-8"))
    forged(folder, ACCEPTED, document | {"format": 2})
    with pytest.raises(InputError, match="format 2, not 1"):
        read_baseline(folder)


@pytest.mark.parametrize("name", ["versions/0001.json", "versions/0002.json"])
@pytest.mark.parametrize("kind", ["edited", "gone"])
def test_the_numbers_of_a_version_are_looked_at_by_every_command(
    made: tuple[Path, Record], tmp_path: Path, name: str, kind: str
) -> None:
    folder = copied(made, tmp_path / "held")
    if kind == "gone":
        (folder / name).unlink()
    else:
        (folder / name).write_text((folder / name).read_text("utf-8").replace('"version": ', '"version": 1'), "utf-8")
    record = write(tmp_path / "three", Flight())
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for command in (lambda: read_baseline(folder), lambda: accept(record, folder, Wish("Ann", "third"))):
        with pytest.raises(InputError) as caught:
            command()
        assert caught.value.where.endswith(name)
    assert before == {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
