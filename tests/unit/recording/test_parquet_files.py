"""Logs as Parquet: the same recording as from text, blanks apart from what is no number."""

from __future__ import annotations

import importlib
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from leverproof.errors import InputError
from leverproof_adapters.recording import open_stand

from .conftest import HEAD, line, stand


def table(rows: int = 200) -> pd.DataFrame:
    cells = [line(0.1 * i, mix="auto_rich").split(",") for i in range(rows)]
    frame = pd.DataFrame(cells, columns=HEAD.split(","))
    return frame.astype({name: float for name in frame.columns if name != "mix"})


def test_parquet_is_read_as_text_is(tmp_path: Path) -> None:
    frame = table()
    frame["map"] = 100.0 + np.arange(200) * 0.01
    frame.to_parquet(tmp_path / "flight.parquet")
    frame.to_csv(tmp_path / "flight.csv", index=False)
    binary = open_stand(stand(tmp_path, target="flight.parquet"), defect=None)
    text = open_stand(stand(tmp_path), defect=None)
    assert binary.columns == text.columns
    assert binary.stretches[0].data == pytest.approx(text.stretches[0].data, rel=1e-12)
    assert binary.digest != text.digest


def test_a_null_is_a_blank_and_nan_is_what_the_model_gave(tmp_path: Path) -> None:
    pyarrow, parquet = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    columns = {name: table()[name].tolist() for name in HEAD.split(",")}
    columns["map"][50], columns["map"][100] = None, math.nan
    parquet.write_table(pyarrow.table(columns), tmp_path / "flight.parquet")
    found = open_stand(stand(tmp_path, target="flight.parquet"), defect=None)
    pressure = found.stretches[0].data[:, found.columns.index("manifold_pressure")]
    assert np.flatnonzero(~np.isfinite(pressure)).tolist() == [100]


def test_text_in_a_number_column_and_files_that_are_none(tmp_path: Path) -> None:
    frame = table()
    frame["map"] = ["100"] * 199 + ["high"]
    frame.to_parquet(tmp_path / "flight.parquet")
    with pytest.raises(InputError, match="'high' in the column 'map' is not a number") as refused:
        open_stand(stand(tmp_path, target="flight.parquet"), defect=None)
    assert refused.value.where.endswith("flight.parquet:200")
    for content in (b"PAR1", b"PAR1" + bytes(200) + b"PAR1", b"t,thr\n1,2\n"):
        (tmp_path / "flight.parquet").write_bytes(content)
        with pytest.raises(InputError, match="no Parquet file that can be read"):
            open_stand(stand(tmp_path, target="flight.parquet"), defect=None)
