"""A log of a twin: each engine's own columns, found by the same map as in any other stand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError
from leverproof.stand.recording import Recording
from leverproof.stand.recording_mount import mount_recording
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters.recording import open_stand

STAND = """\
format = 1
title = "a log of a twin"
kind = "recording"
target = "flight.csv"
engines = {engines}
[recording]
time = "t"
time_unit = "s"
[channels.throttle]
name = "thr {{engine}}"
unit = "%"
[channels.manifold_pressure]
unit = "inHg"
[channels.mixture]
constant = "auto_rich"
[channels.pressure_altitude]
name = "alt"
unit = "ft"
[channels.temperature_offset]
constant = "0 K"
[channels.true_airspeed]
constant = "100 kt"
"""
HEAD = "t,thr L,thr R,manifold_pressure_L,manifold_pressure_R,alt"


def opened(folder: Path, engine: int, engines: str = '["L", "R"]', head: str = HEAD) -> Recording:
    rows = [f"{i / 10:g},{i / 4:g},80,{20 + i / 20:g},33,3000" for i in range(200)]
    (folder / "flight.csv").write_text("\n".join([head, *rows, ""]), "utf-8")
    stand = parse_stand_file(STAND.format(engines=engines), str(folder / "log.stand.toml"), kinds=("recording",))
    return open_stand(replace(stand, engine=engine), defect=None)


def test_each_engine_has_its_own_columns(tmp_path: Path) -> None:
    left, right = (opened(tmp_path, engine) for engine in (1, 2))
    assert left.inputs == right.inputs and "other_throttle" not in left.inputs
    ends = {}
    for name, found in (("left", left), ("right", right)):
        data = np.concatenate([stretch.data for stretch in found.stretches])
        columns = (*found.inputs, *found.outputs)
        ends[name] = [float(data[-1, columns.index(c)]) for c in ("throttle", "manifold_pressure")]
    assert ends["left"] == pytest.approx([199 / 400, 29.95], rel=1e-5)
    assert ends["right"] == pytest.approx([0.8, 33.0], rel=1e-5)
    # The columns of the other engine are known, and need not be listed to be left out.
    assert not any("thr" in warning for warning in (*left.warnings, *right.warnings))


def test_a_column_that_belongs_to_no_engine_is_still_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="thr X"):
        opened(tmp_path, 1, head=HEAD.replace("thr R", "thr X"))


def test_an_engine_that_was_not_recorded(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="has no engine 3") as caught:
        opened(tmp_path, 3, '["L", "R", "C"]')
    assert "{engine}" in caught.value.hint and caught.value.code == "no_such_engine"


def test_nothing_is_held_in_a_recording(tmp_path: Path) -> None:
    text = STAND.format(engines=2) + "[held]\nthrottle = 0.4\n"
    with pytest.raises(InputError, match="in a recording nothing is held"):
        parse_stand_file(text, str(tmp_path / "log.stand.toml"), kinds=("recording",))


def test_the_record_says_which_engine_it_is(tmp_path: Path) -> None:
    opened(tmp_path, 2)
    stand = parse_stand_file(STAND.format(engines='["L", "R"]'), str(tmp_path / "log.stand.toml"))
    mounted = mount_recording(replace(stand, engine=2), levers={"throttle": 0.1}, defect=None)
    assert (mounted.facts()["engine"], mounted.facts()["engines"]) == (2, ["L", "R"])
