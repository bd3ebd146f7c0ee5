"""Keys of a stand file that only a recording has."""

from __future__ import annotations

from pathlib import Path

import pytest

from leverproof.errors import InputError, UsageError
from leverproof.stand import recording_mount
from leverproof.stand.mount import mount
from leverproof.stand.recording_mount import mount_recording
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters.recording import open_stand

from .conftest import line, stand


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"change": {'target = "flight.csv"\n': ""}}, "needs the key 'target'"),
        ({"change": {'time = "t"\n': ""}}, "time"),
        ({"change": {'time_unit = "s"': 'time_unit = "fortnight"'}}, "time_unit"),
        ({"more": 'delay = "2 inHg"'}, "is a unit of pressure, expected time"),
        ({"more": 'delay = "90 s"'}, "not between 0 and 60 s"),
        ({"more": 'resolution = "5 degC"'}, "is a unit of temperature"),
        ({"more": 'resolution = "-1 kPa"'}, "below zero"),
        ({"more": 'states = { a = "on" }'}, "not a discrete channel"),
        ({"more": '[channels.fuel_flow]\nconstant = "900 lb/h"'}, "is a reading"),
        ({"change": {'name = "thr"': 'name = "thr"\ndelay = "1 s"'}}, "have no delay"),
        ({"change": {'name = "thr"': 'name = "thr"\nconstant = 0.5'}}, "cannot be a constant and a column"),
        ({"change": {'name = "mix"': 'name = "mix"\nstates = { R = "auto_rch" }'}}, "no state 'auto_rch'"),
        ({"change": {'name = "mix"': 'name = "mix"\nresolution = 1'}}, "is a discrete channel"),
        ({"recording": 'longest_gap = "2 kt"'}, "expected time"),
    ],
)
def test_keys_that_do_not_fit(tmp_path: Path, keys: dict[str, object], words: str) -> None:
    (tmp_path / "flight.csv").write_text(
        "\n".join(["t,thr,mix,alt,dT,tas,map", *[line(0.1 * i) for i in range(99)], ""])
    )
    with pytest.raises(InputError, match=words):
        open_stand(stand(tmp_path, **keys), defect=None)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "extra", ['[channels.throttle]\ndelay = "1 s"', '[recording]\ntime = "t"\ntime_unit = "s"'], ids=["gauge", "table"]
)
def test_another_kind_of_stand_has_none_of_them(extra: str) -> None:
    text = f'format = 1\ntitle = "m"\nkind = "stdio"\ncommand = ["m"]\n{extra}\n'
    with pytest.raises(InputError, match="only a stand of kind 'recording' has"):
        parse_stand_file(text, "m.toml", kinds=("stdio",))


def test_a_recording_has_no_detents(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a recording has 'states' and no 'detents'"):
        stand(tmp_path, more="[channels.carburettor_heat]\ndetents = { cold = 0, hot = 1 }")


def test_constants_stand_for_columns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording_mount, "find_adapter", lambda kind, where="": open_stand)
    (tmp_path / "flight.csv").write_text(
        "\n".join(["t,thr,mix,alt,dT,tas,map", *[line(0.1 * i) for i in range(99)], ""])
    )
    more = '[channels.boost]\nconstant = "back"\n[channels.relative_humidity]\nconstant = "40 %"\n'
    mounted = mount_recording(stand(tmp_path, more=more), levers={"throttle": 0.1, "boost": 0.1}, defect=None)
    row = dict(zip(mounted.recording.columns, mounted.recording.stretches[0].data[7], strict=True))
    assert row["boost"] == 0.0
    assert row["relative_humidity"] == pytest.approx(0.4)
    assert mounted.stand.grid_step == "0.1 s"
    assert mounted.facts()["file_sha256"] == mounted.recording.digest
    assert mounted.capabilities.clock == "recorded"
    with pytest.raises(InputError, match="has a propeller lever and nothing says where it stood"):
        mount_recording(stand(tmp_path, more=more), levers={"propeller": 0.1}, defect=None)
    with pytest.raises(UsageError, match="nothing can be built into a recording"):
        mount_recording(stand(tmp_path, more=more), levers={}, defect="slow-turbo")


def test_a_recording_is_no_model(tmp_path: Path) -> None:
    """Whatever wants to drive a model is told so."""
    (tmp_path / "flight.csv").write_text(
        "\n".join(["t,thr,mix,alt,dT,tas,map", *[line(0.1 * i) for i in range(99)], ""])
    )
    with pytest.raises(InputError, match="nothing can be asked of what is over"):
        mount(stand(tmp_path), defect=None, adapters={"recording": open_stand})  # type: ignore[dict-item]
