"""Records into a comparison. Histories are read case by case, so that few are held at a time."""

from __future__ import annotations

import string
from collections.abc import Sequence
from itertools import combinations

from leverproof.errors import UsageError
from leverproof.record.reader import Record, named
from leverproof.report.comparison import beside, curves, options
from leverproof.report.comparison.model import Comparison, Model
from leverproof.report.fold import ending_words, mounted

LETTERS = string.ascii_uppercase


def compare(records: Sequence[Record]) -> Comparison:
    """The comparison of two records or more. Raises :class:`UsageError` for fewer or too many, and as
    :meth:`Record.histories` does for a damaged one."""
    if not 2 <= len(records) <= len(LETTERS):
        raise UsageError(f"{len(records)} cannot be compared", "RECORD", f"name 2 to {len(LETTERS)} records", "records")
    judged = beside.judged_beside(records)
    seen, told = curves.Seen(), _pairs(records)
    exact = [_repeats(record) for record in records]
    for case in dict.fromkeys(planned.case.id for record in records for planned in record.expectations):
        runs = [record.conducted(case) if record.planned(case) else () for record in records]
        for model, record in enumerate(records):
            planned = record.planned(case)
            if planned is not None:
                curves.look(seen, model, planned, runs[model])
        for (one, other), pair in told.items():
            options.look(pair, case, runs[one], runs[other], exact=exact[one] and exact[other])
    models = tuple(_model(letter, record) for letter, record in zip(LETTERS, records, strict=False))
    return Comparison(
        models,
        tuple(beside.matrix(records, judged)),
        tuple(judged),
        tuple(curves.panels(seen, records, LETTERS)),
        tuple(options.audit(one, other, records, pair) for (one, other), pair in told.items()),
        tuple(_notes(records, models)),
    )


def _pairs(records: Sequence[Record]) -> dict[tuple[int, int], options.Told]:
    """Records of one model, each with each."""
    names = [options.family(record) for record in records]
    return {(a, b): options.Told() for a, b in combinations(range(len(records)), 2) if names[a] == names[b] != ""}


def _repeats(record: Record) -> bool:
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    able = said.get("capabilities")
    return isinstance(able, dict) and able.get("deterministic") is True and able.get("clock") == "stepped"


def _model(letter: str, record: Record) -> Model:
    head = mounted(record)
    defect = f", defect {head['defect']}" if head.get("defect") else ""
    return Model(letter, f"{head.get('stand') or head.get('model') or 'a model'}{defect}", head, ending_words(record))


def _notes(records: Sequence[Record], models: Sequence[Model]) -> list[str]:
    out = [f"{m.letter} is incomplete: what is missing counts as not run" for m, r in zip(models, records, strict=True)
           if not r.complete]  # fmt: skip
    for key, words in (("suite", "suites of cases"), ("version", "versions of leverproof"), ("seed", "seeds")):
        if len({str(record.header.get(key)) for record in records}) > 1:
            out.append(f"the records are of different {words}: what they share is compared, and nothing else")
    sheets = {str(named(record, "sheet").get("id")) for record in records}
    if len(sheets) > 1:
        out.append(
            "the engines have different sheets: verdicts are each against its own sheet, numbers are side by side"
        )
    return out
