"""An honest engine behind slow levers and coarse gauges passes; one whose gauges or levers lie is caught, though it is
the embedded engine all the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from leverproof.record.reader import read_record
from leverproof.session import RunRequest, run_session

MODEL = Path(__file__).parents[1] / "models" / "wrapped_engine.py"


def flown(folder: Path, engine: str, fitting: str, case: str, *, grid: str = "0.05 s") -> tuple[int, dict[str, str]]:
    """Exit code of one case, and its required verdicts by judgement."""
    (folder / MODEL.name).write_text(MODEL.read_text("utf-8"), "utf-8")
    stand = folder / "wrapped.stand.toml"
    stand.write_text(
        f'format = 1\ntitle = "wrapped"\nkind = "in_process"\ntarget = "{MODEL.name}:factory"\nsheet = "{engine}"\n'
        f'grid_step = "{grid}"\nclock = "stepped"\n[options]\nset = "{engine}"\nfitting = "{fitting}"\n',
        "utf-8",
    )
    code = run_session(RunRequest(stand=str(stand), cases=(case,), out=folder / "record"))
    found = [f for f in read_record(folder / "record").findings if f.weight == "required"]
    return code, {f.judgement: f.verdict for f in found}


@pytest.mark.parametrize(
    ("engine", "fitting", "case"),
    [
        ("corrie-18-early", "slow actuators", "split-lever-size"),
        ("corrie-18-early", "coarse gauges", "shutter-fixed-pressure"),
        ("corrie-18-early", "coarse gauges", "fuel-compensated"),
        ("corrie-14", "coarse gauges", "lean-saves-fuel"),
    ],
)
def test_an_honest_fitting_fails_nothing(tmp_path: Path, engine: str, fitting: str, case: str) -> None:
    _, found = flown(tmp_path, engine, fitting, case)
    assert set(found.values()) <= {"pass", "conditional pass", "not applicable"}, found


def test_a_lever_ramp_in_half_second_stairs_is_no_dependence_on_the_frame(tmp_path: Path) -> None:
    _, found = flown(tmp_path, "corrie-14", "none", "transient-at-half-step", grid="0.5 s")
    assert set(found.values()) <= {"pass", "conditional pass"}, found


@pytest.mark.parametrize(
    ("fitting", "case", "judgement"),
    [
        ("frozen fuel flow", "two-minutes-at-each-rating", "fuel-still-follows"),
        ("frozen torque", "two-minutes-at-each-rating", "torque-still-follows"),
        ("frozen heads", "heads-follow-power", "cooler"),
        ("fuel flow by the frame", "transient-at-half-step", "fuel-tube"),
        ("manifold pressure by the frame", "transient-at-half-step", "pressure-tube"),
        ("back pressure by gauge", "stopped-back-pressure", "back-pressure"),
        ("warm manifold thermometer", "stopped-temperatures", "charge"),
        ("no full rich wide open", "full-rich-no-gain", "burns-more-wide-open"),
    ],
)
def test_a_fitting_with_a_fault_is_caught(tmp_path: Path, fitting: str, case: str, judgement: str) -> None:
    code, found = flown(tmp_path, "corrie-18-early", fitting, case)
    assert code == 1
    assert found[judgement] in ("fail", "conditional fail"), found
