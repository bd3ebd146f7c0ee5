"""Results as Parquet: what an analyst reads back, in whatever order the results came."""

from __future__ import annotations

import hashlib
import math
import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
import pyarrow.parquet as pq  # type: ignore[import-untyped]
import pytest

from leverproof.campaign import parquet, store
from leverproof.campaign.model import Outcome
from leverproof.errors import UsageError

from .campaign_rows import HOSTILE, SPEEDS, campaign


def kept(folder: Path, rows: Sequence[Outcome], *, seed: int = 0) -> Path:
    """A folder with these results, item by item in an order of their own."""
    items = [list(group) for _, group in groupby(rows, key=lambda row: row.item)]
    random.Random(seed).shuffle(items)
    with store.Store(folder, "d" * 64, {"title": "altitudes"}) as lines:
        for item in items:
            lines.append([store.encoded(item)])
    return folder


def contents(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*.parquet"))
    }


def test_pandas_reads_back_every_outcome_and_every_reading(tmp_path: Path) -> None:
    rows = list(campaign(samples=3))
    assert parquet.write(kept(tmp_path / "c", rows), tmp_path / "p") == 48
    table = pd.read_parquet(tmp_path / "p" / "judgements")
    assert len(table) == len(rows) and set(table["model"]) == {"Corrie", "Rill"}
    one = next(row for row in rows if row.model == "Rill" and row.sample == 2 and row.judgement == "power")
    (told,) = table[(table["item"] == one.item) & (table["judgement"] == "power")].to_dict("records")
    assert told["found"] == one.found and told["margin"] == one.margin and told["verdict"] == one.verdict
    assert told["pressure_altitude"] == one.surroundings["pressure_altitude"]
    assert told["coefficient.filling"] == one.coefficients["filling"]
    assert math.isnan(table[(table["sample"] == 0)]["coefficient.filling"].iloc[0])
    assert table["self_referential"].dtype == bool and table["sample"].dtype == "int32"
    readings = pd.read_parquet(tmp_path / "p" / "readings")
    mean = readings[readings["model"] == "Corrie"].groupby("reading")["engine_speed"].mean()
    assert mean.to_dict() == {f"at {speed:.0f}": speed + 1.5 for speed in SPEEDS}
    assert len(readings) == sum(len(row.readings) for row in rows)


def test_the_files_are_the_same_in_any_order_and_any_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = list(campaign(samples=20))
    monkeypatch.setattr(parquet, "TOGETHER", 40)
    for seed in (1, 2):
        parquet.write(kept(tmp_path / f"c{seed}", rows, seed=seed), tmp_path / f"p{seed}")
    assert contents(tmp_path / "p1") == contents(tmp_path / "p2") and len(contents(tmp_path / "p1")) == 4
    monkeypatch.setattr(parquet, "TOGETHER", 100_000)
    parquet.write(tmp_path / "c1", tmp_path / "whole")
    for name in parquet.TABLES:
        assert pd.read_parquet(tmp_path / "whole" / name).equals(pd.read_parquet(tmp_path / "p1" / name))


def test_the_schema_tells_version_units_plan_and_caution(tmp_path: Path) -> None:
    parquet.write(kept(tmp_path / "c", list(campaign(samples=1))), tmp_path / "p")
    file = next((tmp_path / "p" / "readings").rglob("*.parquet"))
    schema = pq.read_schema(file)
    assert schema.metadata[b"leverproof.format"] == b"1" and schema.metadata[b"leverproof.plan"] == b"d" * 64
    assert b"real aircraft" in schema.metadata[b"leverproof.caution"]
    assert schema.field("manifold_pressure").metadata == {b"unit": b"inHg"}


NAMES = [
    "Corrie 16/18",
    "a=b",
    "..",
    ".",
    "_",
    "__HIVE_DEFAULT_PARTITION__",
    "É" * 300,
    "x" * 300,
    "\ud800",
    "100%",
    " a ",
]


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_names_of_models_are_safe_and_read_back(name: str, tmp_path: Path) -> None:
    rows = [replace(row, model=name) for row in campaign(models=("Corrie",))]
    parquet.write(kept(tmp_path / "c", rows), tmp_path / "in" / "p")
    assert [path.name for path in tmp_path.iterdir() if path.name != "c"] == ["in"]
    assert [path.name for path in (tmp_path / "in").iterdir()] == ["p"]
    told = set(pd.read_parquet(tmp_path / "in" / "p" / "judgements")["model"].astype(str))
    assert len(told) == 1
    if len(name) < 25 and name != "\ud800":
        assert told == {name}
    file = next((tmp_path / "in" / "p" / "judgements").rglob("*.parquet"))
    assert pq.read_schema(file).metadata[b"leverproof.model"].decode() == name.replace("\ud800", "?")


def test_long_names_stay_apart() -> None:
    one, other = (parquet.partition("model", "x" * 300 + end) for end in "ab")
    assert one != other and len(one) < 200 and unquote(one).startswith("model=xxx")


def test_hostile_texts_and_numbers_that_are_none(tmp_path: Path) -> None:
    rows = [replace(row, trouble=HOSTILE + "\ud800", found=math.nan, margin=-math.inf) for row in campaign()]
    parquet.write(kept(tmp_path / "c", rows), tmp_path / "p")
    table = pd.read_parquet(tmp_path / "p" / "judgements")
    assert set(table["trouble"]) == {HOSTILE + "?"}
    assert table["found"].isna().all() and (table["margin"] == -math.inf).all()


def test_what_is_there_is_replaced_if_it_is_ours_and_left_alone_otherwise(tmp_path: Path) -> None:
    folder = kept(tmp_path / "c", list(campaign()))
    parquet.write(folder, tmp_path / "p")
    parquet.write(folder, tmp_path / "p")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("dear")
    (tmp_path / "link").symlink_to(tmp_path / "mine")
    for place in ("mine", "link", "mine/thesis.txt"):
        with pytest.raises(UsageError, match="something else"):
            parquet.write(folder, tmp_path / place)
    assert (tmp_path / "mine" / "thesis.txt").read_text() == "dear"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["c", "link", "mine", "p"]


def test_a_folder_that_is_no_campaign_and_one_without_results(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no folder of a campaign"):
        parquet.write(tmp_path, tmp_path / "p")
    assert parquet.write(kept(tmp_path / "c", []), tmp_path / "p") == 0
    assert not contents(tmp_path / "p")


def test_without_the_extra_the_error_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = kept(tmp_path / "c", list(campaign()))
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UsageError, match="not installed") as told:
        parquet.write(folder, tmp_path / "p")
    assert "leverproof[parquet]" in told.value.hint and not (tmp_path / "p").exists()
