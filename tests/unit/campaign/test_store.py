"""Results on disk: nothing finished is lost, nothing damaged is believed, nothing counts twice."""

from __future__ import annotations

import errno
import math
import os
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leverproof.campaign import store
from leverproof.campaign.again import AGAIN, aside, set_aside
from leverproof.campaign.model import Outcome
from leverproof.errors import ReproducibilityError, UsageError

PLAN = "p" * 64


def outcome(number: int, judgement: str = "held", block: str = "b0", **other: object) -> Outcome:
    """A row of an invented item."""
    return Outcome(
        f"{number:020x}",
        block,
        "Corrie",
        "corrie-18-early",
        "climb",
        "altitude",
        "15,000 ft",
        0,
        {"pressure_altitude": 15_000.0},
        {"nozzle": 0.1 + 0.2},
        judgement,
        "value",
        "required",
        "physics",
        "inHg",
        "pass",
        **{"found": 1 / 3, "margin": 0.5, "readings": {"a/b": {"engine_speed": 2640.0}}, **other},  # type: ignore[arg-type]
    )


def written(folder: Path, numbers: range, block: str = "b0") -> None:
    with store.Store(folder, PLAN, {"title": "t"}) as kept:
        for number in numbers:
            kept.append([store.encoded([outcome(number, block=block), outcome(number, "other", block)])])


def kept_with(folder: Path, *verdicts: str) -> None:
    with store.Store(folder, PLAN, {}) as kept:
        for number, verdict in enumerate(verdicts):
            kept.append([store.encoded([replace(outcome(number), verdict=verdict)])])


def only_file(folder: Path) -> Path:
    (path,) = (folder / store.RESULTS).iterdir()
    return path


def test_what_is_kept_reads_back_as_it_was(tmp_path: Path) -> None:
    odd = outcome(7, found=math.inf, low=-math.inf, trouble="it died: \x1b[31m\ud800", readings={"a/b": {"x": 1e-310}})
    with store.Store(tmp_path, PLAN, {}) as kept:
        kept.append([store.encoded([odd, replace(odd, judgement="b", readings={})])])
        kept.append([store.encoded_study("s1", {"live": ["x"]})])
    assert list(store.outcomes(tmp_path)) == [odd, replace(odd, judgement="b", readings={})]
    assert store.studies(tmp_path) == {"s1": {"live": ["x"]}}
    assert store.finished(tmp_path) == {7}


def test_not_a_number_stays_not_a_number(tmp_path: Path) -> None:
    with store.Store(tmp_path, PLAN, {}) as kept:
        kept.append([store.encoded([outcome(1, found=math.nan, readings={"a/b": {"x": math.nan}})])])
    (back,) = store.outcomes(tmp_path)
    assert math.isnan(back.found or 0.0)
    assert math.isnan(back.readings["a/b"]["x"])


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_a_file_cut_anywhere_loses_only_what_was_cut(data: st.DataObject) -> None:
    with TemporaryDirectory() as place:
        folder = Path(place) / "results"
        written(folder, range(5))
        whole = only_file(folder).read_bytes()
        cut = data.draw(st.integers(0, len(whole)))
        only_file(folder).write_bytes(whole[:cut])
        assert store.finished(folder) == set(range(whole[:cut].count(b"\n")))


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_a_changed_byte_is_never_believed(data: st.DataObject) -> None:
    with TemporaryDirectory() as place:
        folder = Path(place) / "results"
        written(folder, range(3))
        content = bytearray(only_file(folder).read_bytes())
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] ^= data.draw(st.integers(1, 255))
        only_file(folder).write_bytes(bytes(content))
        damages: list[store.Damage] = []
        assert len(list(store.items(folder, damages))) < 3
        assert damages


def test_a_damaged_line_is_refused_by_itself() -> None:
    line = store.encoded([outcome(1)])
    assert store.decoded(line) == [outcome(1)]
    with pytest.raises(ReproducibilityError):
        store.decoded(line.replace(b"pass", b"fail"))


def test_what_is_appended_is_there_for_others_at_once(tmp_path: Path) -> None:
    with store.Store(tmp_path, PLAN, {}) as kept:
        for number in range(3):
            kept.append([store.encoded([outcome(number)])])
            assert store.finished(tmp_path) == set(range(number + 1))


def test_results_are_forced_to_the_disk_every_few_seconds_and_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    forced: list[float] = []
    now = [0.0]
    monkeypatch.setattr(store.os, "fsync", lambda _: forced.append(now[0]))
    with store.Store(tmp_path, PLAN, {}, clock=lambda: now[0]) as kept:
        for second in range(12):
            now[0] = float(second)
            kept.append([store.encoded([outcome(second)])])
    assert forced == [5.0, 10.0, 11.0]


def test_after_a_torn_tail_another_file_is_begun(tmp_path: Path) -> None:
    written(tmp_path, range(3))
    path = only_file(tmp_path)
    path.write_bytes(path.read_bytes()[:-5])
    written(tmp_path, range(2, 5))
    assert store.finished(tmp_path) == set(range(5))
    assert sorted(p.name for p in (tmp_path / store.RESULTS).iterdir()) == ["0001.jsonl", "0002.jsonl"]


def test_results_are_the_same_in_any_order_and_in_any_blocks(tmp_path: Path) -> None:
    for name, numbers, block in (("a", range(20), "b0"), ("b", range(19, -1, -1), "b1")):
        written(tmp_path / name, numbers, block)
    written(tmp_path / "b", range(3, 9), "b2")
    assert store.digest(tmp_path / "a") == store.digest(tmp_path / "b")
    assert len(list(store.outcomes(tmp_path / "b"))) == 40
    written(tmp_path / "b", range(20, 21))
    assert store.digest(tmp_path / "a") != store.digest(tmp_path / "b")


def test_a_result_that_differs_in_its_last_bit_has_another_digest(tmp_path: Path) -> None:
    for name, found in (("a", 0.3), ("b", 0.1 + 0.2)):
        with store.Store(tmp_path / name, PLAN, {}) as kept:
            kept.append([store.encoded([outcome(1, found=found)])])
    assert store.digest(tmp_path / "a") != store.digest(tmp_path / "b")


def test_the_folder_of_another_plan_is_refused_and_left_alone(tmp_path: Path) -> None:
    written(tmp_path, range(2))
    before = only_file(tmp_path).read_bytes()
    with pytest.raises(UsageError, match="another campaign"), store.Store(tmp_path, "q" * 64, {}):
        pass
    assert only_file(tmp_path).read_bytes() == before


def test_a_folder_that_holds_something_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(UsageError, match="no folder of a campaign"), store.Store(tmp_path, PLAN, {}):
        pass
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_start_that_keeps_nothing_leaves_no_file(tmp_path: Path) -> None:
    with store.Store(tmp_path, PLAN, {}):
        pass
    assert list((tmp_path / store.RESULTS).iterdir()) == []


class Full:
    """A file on a disk that has room for so many bytes more."""

    def __init__(self, file: IO[bytes], room: int) -> None:
        self._file, self._room = file, room

    def write(self, lines: memoryview) -> int:
        if not self._room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        wrote = self._file.write(bytes(lines)[: self._room])
        self._room -= wrote
        return wrote

    def __getattr__(self, name: str) -> object:
        return getattr(self._file, name)


def test_a_full_disk_is_told_and_leaves_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, room = store._next_file, len(store.encoded([outcome(1)])) + 40
    monkeypatch.setattr(store, "_next_file", lambda folder: Full(begun(folder), room))
    with pytest.raises(UsageError, match="No space left"), store.Store(tmp_path, PLAN, {}) as kept:
        kept.append([store.encoded([outcome(1)])])
        kept.append([store.encoded([outcome(2)])])
    damages: list[store.Damage] = []
    assert [text["item"] for text, _ in store.items(tmp_path, damages)] == [f"{1:020x}"] and not damages


def test_what_is_flown_again_counts_with_its_last_result_and_the_first_stays(tmp_path: Path) -> None:
    kept_with(tmp_path, "pass", "pass", "error", "error", "pass")
    whole = only_file(tmp_path).read_bytes()
    assert store.fly_again(tmp_path, "error", lambda item: int(item, 16) != 3) == 1
    assert store.finished(tmp_path) == {0, 1, 3, 4}
    assert store.fly_again(tmp_path, "error", lambda item: int(item, 16) == 2) == 0
    with store.Store(tmp_path, PLAN, {}) as kept:
        kept.append([store.encoded([outcome(2)])])
    found = {int(o.item, 16): o.verdict for o in store.outcomes(tmp_path)}
    assert found == {0: "pass", 1: "pass", 2: "pass", 3: "error", 4: "pass"}
    assert (tmp_path / store.RESULTS / "0001.jsonl").read_bytes() == whole
    kept_with(tmp_path / "plain", "pass", "pass", "pass", "error", "pass")
    assert store.digest(tmp_path) == store.digest(tmp_path / "plain")


@pytest.mark.parametrize("damage", [b"", b"torn", b"0123456789abcdef {}\n"])
def test_what_does_not_read_sets_nothing_aside(tmp_path: Path, damage: bytes) -> None:
    written(tmp_path, range(3))
    (tmp_path / AGAIN).write_bytes(damage)
    assert store.finished(tmp_path) == {0, 1, 2}
    set_aside(tmp_path, [f"{1:020x}"], 1)
    assert store.finished(tmp_path) == {0, 2} and aside(tmp_path) == {1: 1}
