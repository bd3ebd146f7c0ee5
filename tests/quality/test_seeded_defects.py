"""Every seeded defect is caught by exactly the cases named beforehand, and no part of the engine is idle."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections import defaultdict
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.kills import MARK, read
from leverproof.session import known_defects
from leverproof.stand.stand_file import parse_stand_file

from .sessions import REPOSITORY, Outcome, embedded_stand, session

EXAMPLES = REPOSITORY / "adapters" / "examples"


@cache
def defects() -> dict[str, tuple[str, frozenset[str]]]:
    """Each defect with the first set it can be built into and the cases named beforehand."""
    return {d.name: (d.variants[0], frozenset(d.fires)) for d in known_defects()}


@cache
def borderline() -> dict[str, frozenset[str]]:
    """The cases that a defect brings within doubt of their limit, named beforehand too."""
    return {d.name: frozenset(d.may_fire) for d in known_defects()}


@cache
def run_of(name: str) -> Outcome:
    sheet, _ = defects()[name]
    folder = Path(mkdtemp(prefix="leverproof-"))
    try:
        outcome = session(folder / "record", sheet=sheet, defect=name)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return outcome


@pytest.mark.parametrize("name", sorted(defects()))
def test_defect_is_caught_by_the_cases_named_beforehand(name: str) -> None:
    outcome = run_of(name)
    _, expected = defects()[name]
    assert expected, "a defect names the cases expected to fire"
    assert outcome.code == 1
    assert expected <= outcome.fired <= expected | borderline()[name], "\n".join(outcome.failures())


def test_the_kept_kill_results_are_those_of_this_build() -> None:
    kept = {run.defect: run.fired for run in read(REPOSITORY / "reference_cases" / "kills.json").runs}
    assert {name for name in kept if MARK not in name} == set(defects())
    for name in defects():
        assert run_of(name).fired == kept[name], name


def test_there_are_enough_defects_in_two_sizes() -> None:
    sizes = defaultdict(set)
    for defect in known_defects():
        sizes[defect.size].add(defect.name)
    assert len(sizes["large"]) + len(sizes["small"]) >= 15
    assert len(sizes["small"]) >= 5
    assert len({case for _, fires in defects().values() for case in fires}) >= 10


def test_eighteen_cases_pull_their_weight() -> None:
    """At least 18 cases catch a defect that no other required case catches, or answer a lever no other does."""
    alone = {case for _, fires in defects().values() if len(fires) == 1 for case in fires}
    moved: dict[str, set[str]] = defaultdict(set)
    for case in load_catalogue().cases:
        for run in case.runs:
            for step in run.steps[1:]:
                for lever in (*step.levers, *([step.lever] if step.lever else [])):
                    moved[lever].add(case.id)
    fired = {case for _, fires in defects().values() for case in fires}
    own_lever = {next(iter(cases)) for cases in moved.values() if len(cases) == 1}
    # A case is also its own when the set of defects it catches is no other case's.
    profile: dict[frozenset[str], set[str]] = defaultdict(set)
    for case_id in fired:
        profile[frozenset(n for n, (_, fires) in defects().items() if case_id in fires)].add(case_id)
    distinct = {next(iter(cases)) for cases in profile.values() if len(cases) == 1}
    assert len(alone | own_lever) >= 8
    assert len(alone | own_lever | distinct) >= 18


@pytest.mark.parametrize("part", ["shaft", "gas_path", "cylinder"])
def test_a_constant_in_place_of_a_part_is_noticed(tmp_path: Path, part: str) -> None:
    stand = embedded_stand(tmp_path, "corrie-18-early", f'constant = "{part}"')
    outcome = session(tmp_path / "record", stand=stand)
    assert outcome.code == 1
    assert outcome.fired


def foreign(folder: str, file: str = "stand.toml") -> list[tuple[str, str, str]]:
    path = EXAMPLES / folder / file
    return [(folder, file, name) for name in parse_stand_file(path.read_text("utf-8"), str(path)).defects]


FOREIGN = [
    *foreign("c_engine"),
    *foreign("javascript_engine"),
    *foreign("javascript_engine", "twin.stand.toml"),
]


@pytest.mark.parametrize(("folder", "file", "name"), FOREIGN)
def test_defects_of_the_foreign_engines_are_caught(tmp_path: Path, folder: str, file: str, name: str) -> None:
    there = tmp_path / folder
    shutil.copytree(EXAMPLES / folder, there)
    if folder == "c_engine":
        subprocess.run(
            ["cc", "-std=c99", "-O2", "-o", "corrie_c", "main.c", "engine.c", "json.c", "-lm"], cwd=there, check=True
        )
    path = there / file
    stated = parse_stand_file(path.read_text("utf-8"), str(path)).defects[name]
    expected, allowed = frozenset(stated["fires"]), frozenset(stated.get("may_fire", ()))
    assert expected
    outcome = session(tmp_path / "record", stand=str(path), defect=name)
    assert outcome.code == 1
    assert expected <= outcome.fired <= expected | allowed, json.dumps(outcome.failures(), indent=1)
