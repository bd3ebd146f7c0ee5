"""What a sheet loses by a blank, computed from what the cases need."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from leverproof.sheet.authoring.answers import Answers
from leverproof.sheet.checks.hardware import fits
from leverproof.sheet.model import Datum, EngineSheet
from leverproof.sheet.vocabulary import NUMBERS

Judged = Callable[[EngineSheet], Mapping[str, frozenset[str]]]
"""The judgements that apply to a sheet, by the id of their case."""
LISTED = 6


@dataclass(frozen=True, slots=True)
class Loss:
    """Cases that no longer apply, and judgements of other cases, as ``case/judgement``."""

    cases: tuple[str, ...]
    judgements: tuple[str, ...]

    def words(self) -> str:
        """In one sentence; what it is the loss of goes before it."""
        parts = []
        if self.cases:
            parts.append(f"{_count(self.cases, 'case')} not applicable ({_some(self.cases)})")
        if self.judgements:
            parts.append(f"{_count(self.judgements, 'judgement')} not made ({_some(self.judgements)})")
        return "; ".join(parts) or "no further case is lost"


def _count(names: tuple[str, ...], word: str) -> str:
    return f"{len(names)} {word}{'' if len(names) == 1 else 's'}"


def _some(names: tuple[str, ...]) -> str:
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return ", ".join(names[:LISTED]) + more


def supposed(answers: Answers, open_keys: Iterable[str]) -> EngineSheet:
    """The sheet of the answers so far, with everything still open supposed to be given, where the hardware can have
    it."""
    data: dict[str, Datum] = {}
    levers: dict[str, float] = {}
    for key, answer in answers.items():
        if key.startswith("levers."):
            levers[key.removeprefix("levers.")] = 1.0
        elif key.startswith("hardware."):
            data[key] = Datum(answer.value, "", "")
        elif "." in key:
            section, _, name = key.partition(".")
            data[key] = Datum(1.0, NUMBERS[section][name], "")
    sheet = EngineSheet("supposed", "", "", "", data, levers)
    for key in open_keys:
        if fits(key, sheet):
            if key.startswith("levers."):
                levers[key.removeprefix("levers.")] = 1.0
            elif not key.startswith("hardware.") and "." in key:
                section, _, name = key.partition(".")
                data[key] = Datum(1.0, NUMBERS[section][name], "")
    return sheet


def loss_of(key: str, sheet: EngineSheet, judged: Judged) -> Loss:
    """What ``sheet`` loses without the datum or lever ``key`` that it has."""
    whole = judged(sheet)
    if key.startswith("levers."):
        levers = {name: rate for name, rate in sheet.levers.items() if name != key.removeprefix("levers.")}
        left = judged(replace(sheet, levers=levers))
    else:
        left = judged(replace(sheet, data={path: datum for path, datum in sheet.data.items() if path != key}))
    cases = tuple(sorted(set(whole) - set(left)))
    judgements = tuple(
        f"{case}/{judgement}"
        for case in sorted(left)
        for judgement in sorted(whole.get(case, frozenset()) - left[case])
    )
    return Loss(cases, judgements)
