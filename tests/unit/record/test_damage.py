"""A damaged or hostile record is refused in words, never trusted and never executed."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.errors import InputError, ReproducibilityError
from leverproof.judge.model import Finding
from leverproof.record import RecordWriter, read_record
from leverproof.record import histories as histories_module
from leverproof.record.plain import NotPlainError, from_plain

CASE = "split-lever"


@pytest.fixture
def whole(tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding) -> Path:
    with RecordWriter(tmp_path / "r", {}) as writer:
        writer.add_input("case", "split-lever.toml", "text")
        writer.expectations([planned])
        writer.history(CASE, runs)
        writer.findings([finding])
        writer.close("finished", 1)
    return tmp_path / "r"


def change(folder: Path, edit: Callable[[list[bytes]], list[bytes]]) -> None:
    path = folder / "record.jsonl"
    path.write_bytes(b"\n".join(edit(path.read_bytes().split(b"\n"))))


def test_a_record_cut_anywhere_is_incomplete_or_refused_never_whole(whole: Path) -> None:
    content = (whole / "record.jsonl").read_bytes()
    for end in range(0, len(content) - 1, 97):
        (whole / "record.jsonl").write_bytes(content[:end])
        try:
            record = read_record(whole)
        except InputError:
            continue
        assert not record.complete
        with pytest.raises(ReproducibilityError):
            record.verify()


@pytest.mark.parametrize(
    "line",
    [
        b"not json",
        b'{"kind":"finding","finding":{"case":"x"}}',
        b'{"kind":"event","event":"x","data":{"a":NaN}}',
        b'{"kind":"surprise"}',
        b"[]",
        b"\xff\xfe",
        b'{"kind":"header","program":"leverproof","format":1}',
        b'{"kind":"expectations","case":{"case":{}}}',
        b'{"kind":"event","event":"x","data":' + b'{"a":' * 5000 + b"1" + b"}" * 5000 + b"}",
    ],
)
def test_a_bad_line_is_refused_with_its_number(whole: Path, line: bytes) -> None:
    change(whole, lambda lines: [*lines[:2], line, *lines[2:]])
    with pytest.raises(ReproducibilityError) as caught:
        read_record(whole)
    assert caught.value.where == f"{whole / 'record.jsonl'}:3"


def test_an_unknown_verdict_is_refused(whole: Path) -> None:
    change(
        whole,
        lambda lines: [line.replace(b'"verdict":"invalid run"', b'"verdict":"certain"') for line in lines],
    )
    with pytest.raises(ReproducibilityError, match="verdict"):
        read_record(whole)


def test_a_changed_finding_is_noticed(whole: Path) -> None:
    change(
        whole,
        lambda lines: [line.replace(b'"asked":"more power"', b'"asked":"less power"') for line in lines],
    )
    with pytest.raises(ReproducibilityError, match="lines are not"):
        read_record(whole).verify()


@pytest.mark.parametrize("file", ["inputs/case/split-lever.toml", "histories/split-lever.npz"])
def test_a_changed_missing_or_added_file_is_named(whole: Path, file: str) -> None:
    was = (whole / file).read_bytes()
    (whole / file).write_bytes(was + b" ")
    with pytest.raises(ReproducibilityError, match="not as it was written"):
        read_record(whole).verify()
    (whole / file).unlink()
    with pytest.raises(ReproducibilityError, match="missing"):
        read_record(whole).verify()
    (whole / file).write_bytes(was)
    read_record(whole).verify()
    (whole / "inputs" / "extra").write_text("x")
    with pytest.raises(ReproducibilityError, match="not part of the record"):
        read_record(whole).verify()


def test_no_record_and_another_format_are_input_errors(tmp_path: Path, whole: Path) -> None:
    with pytest.raises(InputError):
        read_record(tmp_path / "nowhere")
    change(whole, lambda lines: [lines[0].replace(b'"format":1', b'"format":99'), *lines[1:]])
    with pytest.raises(InputError, match="format 99"):
        read_record(whole)


def archive(path: Path, members: dict[str, bytes]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in members.items():
            out.writestr(name, content)


def array(value: np.ndarray, *, pickled: bool = False) -> bytes:
    out = io.BytesIO()
    np.lib.format.write_array(out, value, allow_pickle=pickled)
    return out.getvalue()


class Trap:
    """Executing this on load would leave a trace."""

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return (open, ("trap-was-sprung", "w"))  # type: ignore[return-value]


def members(whole: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(whole / "histories/split-lever.npz") as held:
        return {name: held.read(name) for name in held.namelist()}


def _claims_more(good: dict[str, bytes]) -> dict[str, bytes]:
    return good | {"0000.data.npy": good["0000.data.npy"].replace(b"(4, 240)", b"(4, 999)")}


def _shape_overflow(good: dict[str, bytes]) -> dict[str, bytes]:
    big = good["0000.data.npy"].replace(b"(4, 240), }                 ", b"(4, 4611686018427387904), } ")
    assert big != good["0000.data.npy"]
    return good | {"0000.data.npy": big}


def _wrong_type(good: dict[str, bytes]) -> dict[str, bytes]:
    return good | {"0000.data.npy": array(np.zeros((4, 240)))}


def _pickled(good: dict[str, bytes]) -> dict[str, bytes]:
    return good | {"0000.data.npy": array(np.array([Trap()], dtype=object), pickled=True)}


def _another_case(good: dict[str, bytes]) -> dict[str, bytes]:
    meta = json.dumps({"key": ["other", 0, "x"]}).encode()
    return good | {"0000.meta.npy": array(np.frombuffer(meta, np.uint8))}


def _lone_member(good: dict[str, bytes]) -> dict[str, bytes]:
    return {"0000.data.npy": good["0000.data.npy"]}


def _outside(good: dict[str, bytes]) -> dict[str, bytes]:
    return {**good, "../../escape.npy": b"x", "0002.meta.npy": b"x"}


@pytest.mark.parametrize(
    "spoil", [_claims_more, _shape_overflow, _wrong_type, _pickled, _another_case, _lone_member, _outside]
)
def test_spoiled_histories_are_refused(
    whole: Path, spoil: Callable[[dict[str, bytes]], dict[str, bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    archive(whole / "histories/split-lever.npz", spoil(members(whole)))
    monkeypatch.chdir(whole.parent)
    with pytest.raises(ReproducibilityError) as caught:
        read_record(whole).histories(CASE)
    assert caught.value.where.endswith("split-lever.npz")
    assert sorted(p.name for p in whole.parent.iterdir()) == ["r"]


def test_truncated_histories_are_refused_wherever_they_are_cut(whole: Path) -> None:
    path = whole / "histories/split-lever.npz"
    content = path.read_bytes()
    for end in range(0, len(content) - 1, 211):
        path.write_bytes(content[:end])
        with pytest.raises(ReproducibilityError):
            read_record(whole).histories(CASE)


def test_flipped_bytes_never_give_other_errors(whole: Path) -> None:
    path = whole / "histories/split-lever.npz"
    content = path.read_bytes()
    refused = 0
    for at in range(0, len(content), 61):
        path.write_bytes(content[:at] + bytes([content[at] ^ 0x55]) + content[at + 1 :])
        try:
            read_record(whole).histories(CASE)
        except ReproducibilityError:
            refused += 1
    assert refused > 20


def test_an_archive_that_unpacks_to_too_much_is_refused_before_unpacking(
    whole: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(histories_module, "LARGEST_HISTORIES", 1000)
    with pytest.raises(ReproducibilityError, match="more than"):
        read_record(whole).histories(CASE)


def test_a_case_without_histories_has_none(whole: Path) -> None:
    assert read_record(whole).histories("never-run") == {}


def test_a_number_beyond_any_float_is_damage_and_no_crash() -> None:
    with pytest.raises(NotPlainError, match="expected a number"):
        from_plain(float, 10**400, "somewhere")


def test_histories_that_may_not_be_looked_at_are_told(whole: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = read_record(whole)

    def refuse(path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "is_file", refuse)
    with pytest.raises(ReproducibilityError, match="Permission denied"):
        record.histories(record.findings[0].case)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'"weight":"required"', b'"weight":"heavy"', "unknown weight 'heavy'"),
        (
            b'{"kind":"header",',
            b'{"kind":"header","ladder":{"idle":7},',
            "ladder in its header.idle: expected a list",
        ),
        (
            b'{"kind":"header",',
            b'{"kind":"header","selected":[{}],',
            "selected in its header[0]: expected str",
        ),
        (b'{"kind":"header",', b'{"kind":"header","seed":"one",', "seed in its header: expected int"),
    ],
)
def test_what_every_report_looks_into_is_of_its_kind(whole: Path, old: bytes, new: bytes, words: str) -> None:
    change(
        whole, lambda lines: [line if b'"kind":"exp' in line else line.replace(old, new) for line in lines]
    )
    with pytest.raises(ReproducibilityError) as caught:
        read_record(whole)
    assert words in caught.value.message


def test_histories_with_bytes_cut_out_anywhere_are_refused_or_whole(whole: Path) -> None:
    path = whole / "histories" / f"{CASE}.npz"
    content = path.read_bytes()
    record = read_record(whole)
    for start in range(0, len(content), 41):
        path.write_bytes(content[:start] + content[start + 37 :])
        with pytest.raises(ReproducibilityError):
            record.histories(CASE)
