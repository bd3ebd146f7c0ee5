"""Shards put together: the same results as in one go, or a refusal that says why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from leverproof.campaign import store
from leverproof.campaign.merge import Merged, merge
from leverproof.campaign.model import Outcome
from leverproof.errors import InputError, UsageError

PLAN = "p" * 64


def outcome(number: int, found: float = 1.0) -> Outcome:
    own = ("value", "required", "physics", "hp", "pass", found)
    return Outcome(f"{number:020x}", "b0", "m", "s", "c", "x", "", 0, {}, {}, "j", *own)


def shard(folder: Path, numbers: range, *, plan: str = PLAN, found: float = 1.0, block: str = "b0") -> Path:
    with store.Store(folder, plan, {"title": "t", "items": 12}) as kept:
        kept.append([store.encoded([replace(outcome(number, found), block=block)]) for number in numbers])
        kept.append([store.encoded_study("aa", {"known": True}), store.encoded_note("odd")])
    return folder


def test_shards_are_the_whole(tmp_path: Path) -> None:
    parts = [shard(tmp_path / "a", range(5)), shard(tmp_path / "b", range(5, 12))]
    assert merge(parts, tmp_path / "out") == Merged(12, 12)
    assert store.digest(tmp_path / "out") == store.digest(shard(tmp_path / "whole", range(11, -1, -1)))
    assert store.studies(tmp_path / "out") == {"aa": {"known": True}}
    assert store.notes(tmp_path / "out") == ["odd"]


def test_what_is_missing_is_counted(tmp_path: Path) -> None:
    assert merge([shard(tmp_path / "a", range(5))], tmp_path / "out") == Merged(5, 12)
    assert merge([shard(tmp_path / "b", range(3, 9))], tmp_path / "out") == Merged(9, 12)


def test_equal_duplicates_count_once_and_different_ones_are_refused(tmp_path: Path) -> None:
    parts = [shard(tmp_path / "a", range(5)), shard(tmp_path / "b", range(3, 12), block="b7")]
    assert merge(parts, tmp_path / "out") == Merged(12, 12)
    assert len(list(store.outcomes(tmp_path / "out"))) == 12
    other = shard(tmp_path / "c", range(4, 6), found=2.0)
    with pytest.raises(InputError, match=r"two results of item 0*4 \(c\) differ"):
        merge([parts[0], other], tmp_path / "out-2")


def test_another_plan_is_refused(tmp_path: Path) -> None:
    parts = [shard(tmp_path / "a", range(5)), shard(tmp_path / "b", range(5, 12), plan="q" * 64)]
    with pytest.raises(UsageError, match="another campaign"):
        merge(parts, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_damaged_line_is_refused_and_a_torn_tail_is_not(tmp_path: Path) -> None:
    part = shard(tmp_path / "a", range(5))
    file = part / store.RESULTS / "0001.jsonl"
    whole = file.read_bytes()
    file.write_bytes(whole + whole.splitlines(keepends=True)[0][:-9])
    assert merge([part], tmp_path / "out") == Merged(5, 12)
    file.write_bytes(whole.replace(b'"pass"', b'"fail"', 1))
    with pytest.raises(InputError, match="does not have the checksum") as caught:
        merge([part], tmp_path / "out-2")
    assert caught.value.where.endswith("0001.jsonl:1")


def test_folders_that_cannot_be(tmp_path: Path) -> None:
    part = shard(tmp_path / "a", range(5))
    with pytest.raises(UsageError, match="no folder of a campaign"):
        merge([part, tmp_path], tmp_path / "out")
    with pytest.raises(UsageError, match="one of those to read"):
        merge([part], tmp_path / "a")
