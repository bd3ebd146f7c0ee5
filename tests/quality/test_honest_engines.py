"""Honest engines pass: the embedded sets, three variants with other coefficients, a second engine by another hand
and in another style, and two that are not Python. A case that fails one of them is wrong or has found a defect."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from leverproof_adapters.reference_engine.variants import VARIANTS

from .sessions import REPOSITORY, Outcome, embedded_stand, session

SHEETS = ("corrie-18-early", "corrie-18-late")
FAMILIES = ("corrie-14", "rill-6", "rill-6t")
"""Engines with fewer levers, so with fewer cases."""
EXAMPLES = REPOSITORY / "adapters" / "examples"


def honest(outcome: Outcome, least: int) -> None:
    assert outcome.failures() == []
    assert outcome.code == 0
    assert outcome.passes() >= least


@pytest.mark.parametrize("sheet", SHEETS)
def test_embedded_engine(tmp_path: Path, sheet: str) -> None:
    honest(session(tmp_path / "record", sheet=sheet), 60)


@pytest.mark.parametrize("variant", sorted(VARIANTS))
@pytest.mark.parametrize("sheet", SHEETS)
def test_variants_with_other_coefficients(tmp_path: Path, sheet: str, variant: str) -> None:
    stand = embedded_stand(tmp_path, sheet, f'variant = "{variant}"')
    honest(session(tmp_path / "record", stand=stand), 60)


@pytest.mark.parametrize("sheet", FAMILIES)
def test_other_families(tmp_path: Path, sheet: str) -> None:
    for seed in (1, 77):
        honest(session(tmp_path / f"record-{seed}", sheet=sheet, seed=seed), 45)


@pytest.mark.parametrize("variant", sorted(VARIANTS))
@pytest.mark.parametrize("sheet", FAMILIES)
def test_variants_of_other_families(tmp_path: Path, sheet: str, variant: str) -> None:
    stand = embedded_stand(tmp_path, sheet, f'variant = "{variant}"')
    honest(session(tmp_path / "record", stand=stand), 45)


def test_second_engine(tmp_path: Path) -> None:
    stand = str(REPOSITORY / "tests" / "models" / "second_engine.stand.toml")
    honest(session(tmp_path / "record", stand=stand), 60)


def test_other_seeds(tmp_path: Path) -> None:
    for seed in (2, 77):
        honest(session(tmp_path / f"record-{seed}", sheet=SHEETS[0], seed=seed), 60)


def test_c_engine(tmp_path: Path) -> None:
    folder = tmp_path / "c_engine"
    shutil.copytree(EXAMPLES / "c_engine", folder)
    subprocess.run(
        ["cc", "-std=c99", "-O2", "-o", "corrie_c", "main.c", "engine.c", "json.c", "-lm"], cwd=folder, check=True
    )
    outcome = session(tmp_path / "record", stand=str(folder / "stand.toml"))
    honest(outcome, 60)
    assert len({f.case for f in outcome.record.findings if f.verdict == "pass"}) >= 12


def test_javascript_engine(tmp_path: Path) -> None:
    outcome = session(tmp_path / "record", stand=str(EXAMPLES / "javascript_engine" / "stand.toml"))
    honest(outcome, 40)
    assert len({f.case for f in outcome.record.findings if f.verdict == "pass"}) >= 12


def test_javascript_twin(tmp_path: Path) -> None:
    outcome = session(tmp_path / "record", stand=str(EXAMPLES / "javascript_engine" / "twin.stand.toml"))
    honest(outcome, 80)
    passed = {f.case for f in outcome.record.findings if f.verdict == "pass"}
    assert all(len({case for case in passed if case.endswith(mark)}) >= 12 for mark in ("@1", "@2"))
    assert {"engines-independent@1", "engines-independent@2"} <= passed
