"""The restart case catches a model that never burns again, and nothing else does."""

from __future__ import annotations

from pathlib import Path

from .sessions import REPOSITORY, session


def test_a_model_that_never_burns_again_fails_the_restart_only(tmp_path: Path) -> None:
    models = REPOSITORY / "tests" / "models"
    stand = tmp_path / "no_restart.stand.toml"
    stand.write_text(
        f"""format = 1
title = "never burns again"
kind = "in_process"
target = "{models / "no_restart.py"}:factory"
sheet = "{models / "second_engine.sheet.toml"}"
grid_step = "0.05 s"
clock = "stepped"
""",
        "utf-8",
    )
    outcome = session(tmp_path / "record", stand=str(stand), subjects=("mixture", "idle"))
    assert outcome.fired == {"restart-in-flight"}
    verdicts = {f.judgement: f.verdict for f in outcome.record.findings if f.case == "restart-in-flight"}
    assert verdicts["dead-between"] == "pass"
    assert verdicts["power-again"] == "fail"
