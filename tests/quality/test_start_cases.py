"""What the start cases ask beyond the seeded defects: a model that was running all along, and a motor in its place."""

from __future__ import annotations

from pathlib import Path

from .sessions import REPOSITORY, Outcome, embedded_stand, session

CASES = ("start-from-rest", "start-needs-fuel")
MOTOR = "coefficients = { starter_free_speed = 4.0, starter_torque = 2.0, firing_from = 20.0, firing_full = 20.0 }"
"""A starter that reaches 1,200 rpm, on an engine that never fires."""


def verdicts(outcome: Outcome, case: str) -> dict[str, str]:
    return {f.judgement: f.verdict for f in outcome.record.findings if f.case == case}


def test_a_model_that_begins_running_whatever_it_is_told_was_not_started(tmp_path: Path) -> None:
    stand = tmp_path / "never_still.stand.toml"
    stand.write_text(
        f"""format = 1
title = "never still"
kind = "in_process"
target = "{REPOSITORY / "tests" / "models" / "never_still.py"}:factory"
sheet = "corrie-18-early"
grid_step = "0.05 s"
clock = "stepped"
""",
        "utf-8",
    )
    outcome = session(tmp_path / "record", stand=str(stand), cases=CASES)
    assert outcome.fired == {"start-from-rest"}
    found = verdicts(outcome, "start-from-rest")
    assert found["still-before"] == "fail"
    assert found["idles"] == "pass"


def test_a_motor_that_turns_the_engine_is_no_engine_that_runs(tmp_path: Path) -> None:
    stand = embedded_stand(tmp_path, "corrie-18-early", MOTOR)
    outcome = session(tmp_path / "record", stand=stand, defect="starter-stays-engaged", cases=CASES)
    found = verdicts(outcome, "start-from-rest")
    assert found["goes-on-by-itself"] == "pass"
    assert found["own-power"] == "fail"
    assert verdicts(outcome, "start-needs-fuel")["stops"] == "fail"


def test_an_engine_without_a_starter_is_told_what_is_lost(tmp_path: Path) -> None:
    stand = str(REPOSITORY / "tests" / "models" / "second_engine.stand.toml")
    outcome = session(tmp_path / "record", stand=stand, cases=CASES)
    assert outcome.code == 5
    told = [f for f in outcome.record.findings if f.case in CASES]
    assert {f.verdict for f in told} == {"not applicable"}
    words = " ".join(f.note for f in told)
    assert "no starter lever" in words
    assert "whether the engine starts from rest" in words
    assert "whether the engine needs fuel to start" in words
