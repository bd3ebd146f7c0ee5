"""Bundles: what was run is judged again elsewhere; whatever is changed on the way is found or refused."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import zipfile
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import ANY

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import leverproof.record.bundle as bundle_module
import leverproof.verify as verify_module
from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.errors import ReproducibilityError
from leverproof.record import read_record
from leverproof.record.archive import write_archive
from leverproof.record.bundle import INDEX, bundle_of, read_bundle
from leverproof.record.layout import LINES
from leverproof.verify import verify

HISTORIES = "histories/standard-atmosphere.npz"
CASE = "inputs/case/standard-atmosphere.toml"
SHEET = "inputs/sheet/corrie-18-early.toml"
CATALOGUE = cache(load_catalogue)
Members = dict[str, bytes]


@pytest.fixture(autouse=True)
def one_catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    """The shipped cases are read once, not for each of many bundles."""
    monkeypatch.setattr(verify_module, "load_catalogue", CATALOGUE)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bundle") / "r"
    assert main(["run", "--case", "standard-*", "--out", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def bundle(record: Path) -> Path:
    path = record.parent / "b.zip"
    assert main(["bundle", str(record), "--out", str(path)]) == 0
    return path


@pytest.fixture
def members(bundle: Path) -> Members:
    return read_bundle(bundle).members


def resealed(members: Members) -> Members:
    """The members with every sum made right again, as a careful forger would: files, lines, counts, index."""
    out = {name: content for name, content in members.items() if name != INDEX}
    lines = out[LINES].split(b"\n")[:-1]
    footer = json.loads(lines[-1])
    footer["files"] = {name: summed(content) for name, content in sorted(out.items()) if name != LINES}
    footer["lines_sha256"] = hashlib.sha256(b"\n".join(lines[:-1]) + b"\n").hexdigest()
    found = [json.loads(line).get("finding") for line in lines if json.loads(line).get("kind") == "finding"]
    footer["counts"] = dict(
        sorted(Counter(str(one.get("verdict")) for one in found if isinstance(one, dict)).items())
    )
    out[LINES] = b"\n".join([*lines[:-1], json.dumps(footer, separators=(",", ":")).encode()]) + b"\n"
    return indexed(out, members)


def indexed(out: Members, members: Members) -> Members:
    """The members with an index that is right."""
    told = json.loads(members[INDEX]) | {"files": {n: summed(c) for n, c in out.items() if n != INDEX}}
    return {**out, INDEX: json.dumps(told).encode()}


def summed(content: bytes) -> dict[str, Any]:
    return {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}


def edited(members: Members, kind: str, edit: Callable[[dict[str, Any]], None], at: int = 0) -> Members:
    """The members with the ``at``-th line of a kind changed."""
    lines = members[LINES].split(b"\n")
    places = [i for i, line in enumerate(lines) if line.startswith(f'{{"kind":"{kind}"'.encode())]
    entry = json.loads(lines[places[at]])
    edit(entry)
    lines[places[at]] = json.dumps(entry, separators=(",", ":")).encode()
    return {**members, LINES: b"\n".join(lines)}


def history_value(members: Members) -> Members:
    """One sample and one reading of a history changed."""
    with np.load(io.BytesIO(members[HISTORIES])) as held:
        arrays = {name: held[name] for name in held}
    told = json.loads(arrays["0000.meta"].tobytes())
    told["readings"][0]["values"]["ambient_pressure"] += 1e-9
    arrays["0000.meta"] = np.frombuffer(json.dumps(told).encode(), np.uint8)
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    return {**members, HISTORIES: buffer.getvalue()}


def text_of_finding(entry: dict[str, Any]) -> None:
    entry["finding"]["found"] = "1 inHg"


def last_bit_of_finding(entry: dict[str, Any]) -> None:
    entry["finding"]["number"] = float(np.nextafter(entry["finding"]["number"], 1e9))


def better_verdict(entry: dict[str, Any]) -> None:
    entry["finding"]["verdict"] = "conditional pass"


def wider_tolerance(entry: dict[str, Any]) -> None:
    entry["case"]["judgements"][0]["tolerance"]["absolute"] = {"value": 9.0, "unit": "inHg"}


def other_expectation(entry: dict[str, Any]) -> None:
    for values in entry["case"]["points"][0]["resolved"].values():
        for one in values.values():
            one["value"] += 1e-6


def other_question(members: Members) -> Members:
    return {**members, CASE: members[CASE].replace(b'question = "', b'question = "Really: ', 1)}


def other_sheet(members: Members) -> Members:
    return {**members, SHEET: members[SHEET].replace(b'revision = "', b'revision = "9', 1)}


def stranger(members: Members) -> Members:
    return {**members, "inputs/case/own.toml": b"#"}


def other_arrangement(entry: dict[str, Any]) -> None:
    entry["arrangement"] = "unsupercharged"


def exit_code(entry: dict[str, Any]) -> None:
    entry["exit"] = 1


CHANGES: dict[str, tuple[Callable[[Members], Members], str]] = {
    "history value": (history_value, "finding: finding 1"),
    "finding text": (lambda m: edited(m, "finding", text_of_finding), "found is"),
    "last bit of a finding": (lambda m: edited(m, "finding", last_bit_of_finding), "number is"),
    "verdict": (lambda m: edited(m, "finding", better_verdict), "verdict is"),
    "expectation": (lambda m: edited(m, "expectations", other_expectation), "follows from the histories"),
    "tolerance": (lambda m: edited(m, "expectations", wider_tolerance), "follows from the histories"),
    "case file": (other_question, "not the case 'standard-atmosphere' that was judged"),
    "sheet file": (other_sheet, "not the sheet 'corrie-18-early' that was used"),
    "arrangement": (
        lambda m: edited(m, "header", other_arrangement),
        "not the sheet 'corrie-18-early' that was used",
    ),
    "no case file": (lambda m: {n: c for n, c in m.items() if n != CASE}, "its file is not kept"),
    "no history": (lambda m: {n: c for n, c in m.items() if n != HISTORIES}, "verdict is"),
    "added file": (stranger, "nothing in the record speaks of this file"),
    "footer": (lambda m: edited(m, "footer", exit_code), "its footer tells exit code 1, but 0 follows"),
}


def answer(members: Members, folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    path = folder / "changed.zip"
    path.write_bytes(write_archive(members))
    capsys.readouterr()
    code = main(["verify", str(path)])
    said = capsys.readouterr()
    assert [p.name for p in folder.iterdir()] == ["changed.zip"]
    return code, " ".join((said.out + said.err).split())


@pytest.mark.parametrize("kind", CHANGES)
def test_a_change_is_found_by_the_index(
    kind: str, members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = answer(CHANGES[kind][0](members), tmp_path, capsys)
    assert code == 1
    assert "index: " in said and "Does not hold" in said


@pytest.mark.parametrize("kind", CHANGES)
def test_a_change_with_all_sums_made_right_is_found_by_judging_again(
    kind: str, members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change, words = CHANGES[kind]
    code, said = answer(resealed(change(members)), tmp_path, capsys)
    assert code == 1
    assert "index: " not in said and words in said


def test_a_forgery_that_agrees_with_itself_is_told_to_be_of_unproven_origin(
    members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another model's name, everything else as it was: nothing can show that."""

    def other_model(entry: dict[str, Any]) -> None:
        if entry["event"] == "handshake":
            entry["data"]["model"] = "another model"

    forged = members
    for at in range(members[LINES].count(b'{"kind":"event"')):
        forged = edited(forged, "event", other_model, at)
    code, said = answer(resealed(forged), tmp_path, capsys)
    assert code == 0
    assert "another model" in said and "self-consistent, origin unproven" in said


def test_whole_bundles_are_the_same_bytes_and_say_what_they_are(
    record: Path, bundle: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bundle_of(record) == bundle.read_bytes()
    found = verify(bundle)
    assert found.objections == () and found.findings == len(read_record(record).findings) > 0
    assert found.sha256 == hashlib.sha256(bundle.read_bytes()).hexdigest()
    assert main(["verify", str(bundle)]) == main(["verify", str(record)]) == 0
    assert capsys.readouterr().out.count("self-consistent, origin unproven") == 2


@pytest.mark.parametrize("line", [b"not json", b'{"kind":"event","event":"x","data":{}}\n\n'])
def test_lines_that_are_no_record_are_unusable_when_their_sums_are_right(
    line: bytes, members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = {**members, LINES: line + b"\n"}
    assert answer(indexed(broken, members), tmp_path, capsys)[0] == 2
    (tmp_path / "changed.zip").unlink()
    code, said = answer(broken, tmp_path, capsys)
    assert code == 1 and f"{LINES}: not as the index says" in said


def test_a_record_that_no_run_could_leave_is_an_answer_not_a_crash(
    members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def unresolved(entry: dict[str, Any]) -> None:
        for point in entry["case"]["points"]:
            point["resolved"] = {}

    code, said = answer(resealed(edited(members, "expectations", unresolved)), tmp_path, capsys)
    assert code == 1 and "internal error" not in said


def places(node: Any) -> list[tuple[Any, Any]]:
    """Every place in plain data: what holds it, and where."""
    keys: list[Any] = (
        list(node) if isinstance(node, dict) else list(range(len(node))) if isinstance(node, list) else []
    )
    return [place for key in keys for place in ((node, key), *places(node[key]))]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_stands_in_a_line_is_an_answer_or_a_refusal(
    members: Members, tmp_path: Path, data: st.DataObject
) -> None:
    """Any value of any line replaced by anything, with every sum made right."""
    lines = members[LINES].split(b"\n")[:-1]
    kinds: dict[str, list[int]] = {}
    for at, line in enumerate(lines):
        kinds.setdefault(json.loads(line)["kind"], []).append(at)
    at = data.draw(st.sampled_from(kinds[data.draw(st.sampled_from(sorted(set(kinds) - {"footer"})))]))
    entry = json.loads(lines[at])
    holder, key = data.draw(st.sampled_from(places(entry)))
    anything = st.sampled_from([None, True, 0, -1, 1e308, "", "../x", "NaN", [], {}, [1], {"a": 1}, 10**30])
    holder[key] = data.draw(anything)
    lines[at] = json.dumps(entry).encode()
    path = tmp_path / "changed.zip"
    path.write_bytes(write_archive(resealed({**members, LINES: b"\n".join(lines) + b"\n"})))
    assert main(["verify", str(path)]) in (0, 1, 2)


def test_what_is_not_whole_is_not_bundled(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "r"
    shutil.copytree(record, folder)
    assert main(["bundle", str(folder), "--out", str(folder / "b.zip")]) == 2
    (folder / CASE).write_text("changed", "utf-8")
    with pytest.raises(ReproducibilityError, match="not as it was written"):
        bundle_of(folder)
    assert main(["bundle", str(folder), "--out", str(tmp_path / "b.zip")]) == 2
    assert main(["verify", str(folder)]) == 1
    lines = (folder / LINES).read_bytes()
    (folder / LINES).write_bytes(lines[: lines.rindex(b'{"kind":"footer"')])
    assert main(["bundle", str(folder), "--out", str(tmp_path / "b.zip")]) == 2
    assert not (tmp_path / "b.zip").exists()


def packed(*sizes: int, level: int = 9) -> bytes:
    """An archive of members of zeros, as small as they can be made."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as archive:
        for index, size in enumerate(sizes):
            archive.writestr(f"{index:04d}.data.npy", bytes(size))
    return buffer.getvalue()


def test_histories_that_unpack_to_too_much_are_refused_before_they_are(
    members: Members, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verify_module, "rejudge", lambda *_: pytest.fail("judged"))
    bomb = resealed({**members, HISTORIES: packed(1 << 22)})
    assert answer(bomb, tmp_path, capsys) == (2, ANY)
    (tmp_path / "changed.zip").unlink()
    monkeypatch.setattr(bundle_module, "LARGEST_HISTORIES", 1 << 20)
    together = resealed({**members, HISTORIES: packed(*[1 << 17] * 9, level=1)})
    code, said = answer(together, tmp_path, capsys)
    assert code == 2 and "its histories unpack to more than 1,048,576 bytes" in said


@pytest.mark.parametrize("name", ["no.zip", "."])
def test_a_file_that_is_no_bundle_is_unusable(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(tmp_path / name)]) == 2
    assert capsys.readouterr().err.startswith("error: ")
