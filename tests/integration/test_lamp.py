"""The light of the embedded engine, told only as lit or dark, ends as the light itself does."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.record.reader import read_record
from leverproof.session import RunRequest, run_session

MODELS = Path(__file__).resolve().parents[1] / "models"
CASES = ("overspeed-light", "light-engine-stopped")


def flown(tmp_path: Path, **options: object) -> tuple[int, dict[str, str]]:
    """Exit code and verdicts of the cases about the light."""
    lines = (
        'format = 1\ntitle = "a lamp"\nkind = "in_process"\nsheet = "corrie-18-early"',
        "target = " + json.dumps(str(MODELS / "lamp_engine.py") + ":factory"),
        '[channels.turbo_overspeed_light]\nname = "OVSPD"\nlit_now = true\n[options]',
        *(f"{key} = {json.dumps(value)}" for key, value in options.items()),
    )
    path = tmp_path / "lamp.stand.toml"
    path.write_text("\n".join(lines), "utf-8")
    code = run_session(RunRequest(stand=str(path), cases=CASES, out=tmp_path / "r"))
    findings = [f for f in read_record(tmp_path / "r").findings if f.verdict != "not applicable"]
    return code, {f"{f.case}/{f.judgement}": f"{f.verdict}: {f.found}; {f.note}" for f in findings}


@pytest.mark.parametrize("hertz", [1.0, 3.0])
def test_a_blinking_lamp_is_judged_as_the_light_it_is(tmp_path: Path, hertz: float) -> None:
    code, found = flown(tmp_path, hertz=hertz)
    assert code == 0, found
    assert {case for case, _, _ in (name.partition("/") for name in found)} == set(CASES)
    assert {verdict.partition(":")[0] for verdict in found.values()} == {"pass"}, found


@pytest.mark.parametrize("stuck", ["off", "blinking"])
def test_a_lamp_that_never_changes_is_caught(tmp_path: Path, stuck: str) -> None:
    code, found = flown(tmp_path, hertz=2.0, stuck=stuck)
    assert code == 1
    assert any(verdict.startswith("fail") for name, verdict in found.items() if name.startswith("overspeed-light/"))
