"""Valid cases, sheets, stands and deferral files, spoilt at random: each loads or is refused in words, nothing else
happens, and what means nothing is never taken."""

from __future__ import annotations

import datetime
import random
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.cli.main import main
from leverproof.errors import LeverproofError
from leverproof.judge.deferral_file import parse_deferrals
from leverproof.sheet.loader import parse_sheet, shipped_sheets
from leverproof.stand.stand_file import parse_stand_file
from leverproof.toml_file import parse_toml, read_text

from .meaning import meaningless
from .mutants import EVERY, NONSENSE, SMALL, STRUCTURE, Tables, cut, document, spoil

PARSE, SCHEMA, SEMANTICS, LOADED = "parse", "schema", "semantics", "loaded"
SCHEMA_CODES = {"unknown_key", "missing_key", "unknown_word", "type", "schema", "not_finite"}
MUTANTS = {"case": 1800, "sheet": 1300, "stand": 1050, "deferrals": 1000}
"""How many of each are made: 5,150 in all."""
SHARES = (("structure", 0.40), ("small", 0.18), ("nonsense", 0.38), ("cut", 0.04))
STANDS = Path(__file__).resolve().parents[2] / "adapters" / "examples"


@cache
def catalogue() -> Catalogue:
    return load_catalogue()


def _deferrals() -> Tables:
    """A file that puts off one judgement of every case and loosens some."""
    out: Tables = {"format": 1, "deferral": [], "loosening": []}
    for case in catalogue().cases:
        judged = next(
            (j for j in case.judgements if j.weight == "required" and j.tolerance is not None), None
        )
        if judged is None or judged.measure == "monotone":
            continue
        own = {
            "case": case.id,
            "judgement": judged.id,
            "owner": "A. Person",
            "reason": "a map is measured again",
        }
        limit = (
            "1.5 inHg" if judged.channel == "manifold_pressure" and judged.what == "value" else "2 tolerances"
        )
        if judged.relative_to is not None or judged.what == "history":
            limit = "2 tolerances"
        out["deferral"].append({**own, "limit": limit, "expires": datetime.date(2026, 12, 31)})
        out["loosening"].append({**own, "times": 1.5})
    return {**out, "loosening": out["loosening"][:6]}


@cache
def originals(kind: str) -> list[Tables]:
    if kind == "sheet":
        return [parse_toml(read_text(sheet), sheet.name) for sheet in shipped_sheets()]
    if kind == "stand":
        return [parse_toml(read_text(str(p)), str(p)) for p in sorted(STANDS.rglob("*stand.toml"))]
    if kind == "deferrals":
        return [_deferrals()]
    return [parse_toml(catalogue().texts[case.id], case.path) for case in catalogue().cases]


LOAD: dict[str, Callable[[str, str], object]] = {
    "case": parse_case,
    "sheet": parse_sheet,
    "stand": parse_stand_file,
    "deferrals": lambda text, where: parse_deferrals(text, where, catalogue()),
}


@cache
def spoilable(kind: str, group: str) -> dict[str, list[Tables]]:
    """The ways of a group that apply to files of a kind, each with those files."""
    ways = {"structure": STRUCTURE, "small": SMALL, "nonsense": NONSENSE}[group]
    found = {
        way: [file for file in originals(kind) if next(does(file), None) is not None]
        for way, does in ways.items()
    }
    return {way: files for way, files in found.items() if files}


def mutant(kind: str, choose: random.Random) -> tuple[str, str]:
    """(way, text) of one spoilt file."""
    group = choose.choices([name for name, _ in SHARES], [share for _, share in SHARES])[0]
    if group == "cut":
        return group, cut(document(choose.choice(originals(kind))), choose)
    way, files = choose.choice(list(spoilable(kind, group).items()))
    text = spoil(choose.choice(files), way, choose)
    assert text is not None
    return way, text


def outcome(text: str, load: Callable[[str, str], object]) -> str:
    """``loaded`` or which gate refused; anything but a :class:`LeverproofError` fails the test by itself."""
    try:
        load(text, "spoilt.toml")
    except LeverproofError as error:
        assert error.message and error.where.startswith("spoilt.toml")
        assert "Traceback" not in error.message
        if error.code == "toml":
            return PARSE
        return SCHEMA if error.code in SCHEMA_CODES else SEMANTICS
    return LOADED


@pytest.fixture(scope="module")
def counted() -> dict[str, Counter[str]]:
    """Every kind of file, spoilt so many times: how each mutant ended."""
    return {kind: _spoilt(kind, number) for kind, number in MUTANTS.items()}


def _spoilt(kind: str, number: int) -> Counter[str]:
    found: Counter[str] = Counter()
    load = LOAD[kind]
    for original in originals(kind):
        load(document(original), "whole.toml")

    @seed(20)
    @settings(max_examples=number, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(st.integers(0, 10**12))
    def each(drawn: int) -> None:
        way, text = mutant(kind, random.Random(drawn))
        ended = outcome(text, load)
        found.update([ended, way])
        assert ended != LOADED or way not in NONSENSE, (way, text)
        if ended == LOADED:
            said = meaningless(kind, parse_toml(text, "spoilt.toml"))
            assert not said, (way, said, text)

    each()
    return found


@pytest.mark.parametrize("kind", MUTANTS)
def test_a_spoilt_file_loads_or_is_refused_in_words(kind: str, counted: dict[str, Counter[str]]) -> None:
    found = counted[kind]
    made = MUTANTS[kind]
    gates = {gate: found[gate] for gate in (PARSE, SCHEMA, SEMANTICS, LOADED)}
    assert sum(gates.values()) >= made, gates
    assert min(gates[PARSE], gates[SCHEMA], gates[SEMANTICS], gates[LOADED]) >= 15, gates
    assert gates[LOADED] < made * 0.6, gates


def test_there_are_enough_mutants_of_every_kind(counted: dict[str, Counter[str]]) -> None:
    whole = sum(counted.values(), Counter())
    made = sum(whole[gate] for gate in (PARSE, SCHEMA, SEMANTICS, LOADED))
    assert made >= 5_000
    assert made - whole[PARSE] >= 0.7 * made, whole
    assert whole[SEMANTICS] + whole[LOADED] >= 0.3 * made, whole
    few = {way: whole[way] for way in (*EVERY, "cut") if whole[way] < 20}
    assert not few


@pytest.mark.parametrize(("kind", "command"), [("case", "cases"), ("sheet", "sheet")])
def test_nonsense_is_refused_by_the_command(
    kind: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2, each file named with what is wrong, nothing on standard output, no traceback."""
    choose = random.Random(7)
    paths: list[Path] = []
    for way in NONSENSE:
        texts = [text for original in originals(kind) if (text := spoil(original, way, choose)) is not None]
        for text in choose.sample(texts, min(3, len(texts))):
            paths.append(tmp_path / f"spoilt-{len(paths)}.toml")
            paths[-1].write_text(text, "utf-8")
    assert len(paths) >= 10
    assert main([command, "check", *map(str, paths)]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Traceback" not in said.err
    assert [path for path in paths if str(path) not in said.err] == []


@pytest.mark.parametrize(
    "text", ["", "\n", "id = 3", "[[run]]", "\ufeff", "a = [" * 5000, "\x00", "x = 1e999"]
)
def test_a_file_that_is_none_is_refused(text: str) -> None:
    for load in LOAD.values():
        with pytest.raises(LeverproofError):
            load(text, "nothing.toml")
