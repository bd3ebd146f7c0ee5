"""Holding a user's own case files against everything a case must be, without running any."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path

from leverproof.cases.catalogue import Catalogue, case_files, duplicate, load_catalogue, other_suite
from leverproof.cases.loader import parse_case
from leverproof.cases.model import ReferenceCase
from leverproof.errors import InputError, nearest
from leverproof.there import is_folder, whole_path
from leverproof.toml_file import read_text


@dataclass(frozen=True, slots=True)
class CheckedCases:
    """The cases that can be used, what is wrong with the other files, and what a person should know of those that can
    be used."""

    cases: tuple[ReferenceCase, ...]
    problems: tuple[InputError, ...]
    notes: tuple[str, ...]


def check_cases(paths: Sequence[str]) -> CheckedCases:
    """Reads every file of ``paths`` (case files, and folders of them at any depth) as a run would.

    A file named twice is read once. A shipped case's own file is not a duplicate of itself."""
    shipped = load_catalogue()
    problems: list[InputError] = []
    taken = {case.id: case.path for case in shipped.cases}
    found: dict[str, ReferenceCase] = {}
    notes: list[str] = []
    for where, source in _named(paths, problems):
        try:
            text = read_text(source)
            case = parse_case(text, where)
            own = shipped.texts.get(case.id) == text
            if case.id in found or (case.id in taken and not own):
                raise duplicate(case.id, where, found[case.id].path if case.id in found else taken[case.id])
        except InputError as problem:
            problems.append(problem)
            continue
        found[case.id] = case
        notes += _notes(case, shipped)
    return CheckedCases(tuple(found.values()), tuple(problems), tuple(notes))


def _notes(case: ReferenceCase, shipped: Catalogue) -> Iterator[str]:
    words = other_suite(case, shipped.suite)
    if words:
        yield words
    if case.subject not in shipped.ladder:
        hint = nearest(case.subject, shipped.ladder)
        near = f"; {hint}" if hint.startswith("did") else ""
        yield f"{case.path}: subject {case.subject!r} is not one of the suite's: it stands on no other subject{near}"


def _named(paths: Sequence[str], problems: list[InputError]) -> Iterator[tuple[str, Traversable]]:
    seen: set[Path] = set()
    for word in paths:
        path = Path(word)
        files: list[tuple[str, Traversable]] = [(word, path)]
        if is_folder(path):
            files = list(case_files(path, word.rstrip("/") or "/", problems))
            if not files:
                problems.append(
                    InputError("there is no case file in this folder", word, "a case ends in .toml", "folder")
                )
        for where, source in files:
            real = whole_path(Path(str(source)))
            if real not in seen:
                seen.add(real)
                yield where, source
