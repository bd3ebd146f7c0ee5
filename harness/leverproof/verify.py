"""Checking a record that comes from somebody else: sums, kept inputs, and every finding judged again from its
histories. Nothing is mounted, nothing of the record is ever run, and a bundle stays in memory.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from leverproof import __version__
from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.cases.model import ReferenceCase
from leverproof.engine_ids import case_and_engine
from leverproof.errors import InputError, LeverproofError, ReproducibilityError
from leverproof.judge.endings import ALL_PASSED, DISORDERLY, FINDINGS, NOTHING_JUDGED, exit_code
from leverproof.judge.model import Finding
from leverproof.record.bundle import read_bundle
from leverproof.record.layout import INPUTS, histories_path
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record, named, read_record
from leverproof.record.verified import Objection, Verified
from leverproof.session import rejudge
from leverproof.sheet.loader import parse_sheet
from leverproof.there import is_folder

_ENOUGH = 200


def verify(path: Path) -> Verified:
    """What checking the bundle in the file ``path``, or the record in the folder of that name, gives.

    Raises :class:`LeverproofError` for something that cannot be used at all: no bundle, an archive that is refused, a
    record whose lines cannot be read although its sums are right.
    """
    if is_folder(path):
        return _checked(read_record(path), Verified(str(path)))
    bundle = read_bundle(path)
    begun = Verified(str(path), bundle.sha256, objections=tuple(Objection("index", o) for o in bundle.objections))
    try:
        record = bundle.record()
    except LeverproofError as problem:
        if not bundle.objections:
            raise
        return replace(begun, objections=(*begun.objections, Objection("record", str(problem))))
    return _checked(record, begun)


def _checked(record: Record, begun: Verified) -> Verified:
    catalogue = load_catalogue()
    objections = [*begun.objections]
    try:
        record.verify()
    except ReproducibilityError as problem:
        objections.append(Objection("record", f"{problem.message} ({problem.where})"))
    objections += [*_inputs(record), *_strangers(record)]
    again, trouble = _again(record, catalogue)
    objections += trouble or [Objection("finding", words) for words in _differences(record.findings, again)]
    objections += [Objection("record", words) for words in _ending(record)]
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    return replace(
        begun,
        model=" ".join(str(said[key]) for key in ("model", "version") if said.get(key)),
        date=str(record.header.get("date", "")),
        cases=len(record.header.get("selected") or ()),
        runs=sum(len(planned.programs) for planned in record.expectations),
        findings=len(again),
        objections=tuple(objections[:_ENOUGH]),
        remarks=tuple(_remarks(record, catalogue, len(objections))),
    )


def _again(record: Record, catalogue: Catalogue) -> tuple[list[Finding], list[Objection]]:
    """Every finding judged again, or why that cannot be done."""
    try:
        return rejudge(record, catalogue.ladder), []
    except LeverproofError as problem:
        return [], [Objection("judging", str(problem))]
    except (LookupError, ArithmeticError, TypeError, ValueError, AttributeError, RecursionError) as fault:
        # A record that fits its format may still say what no run ever says. That is an answer about the record.
        return [], [Objection("judging", f"it cannot be judged again: {type(fault).__name__}: {fault}")]


def _differences(held: Sequence[Finding], again: Sequence[Finding]) -> Iterator[str]:
    """Where the findings of a record are not those that follow from it, bit for bit: each field of each."""
    if len(held) != len(again):
        yield f"{len(held):,} findings are held, {len(again):,} follow from the histories"
    for index, (one, other) in enumerate(zip(held, again, strict=False)):
        have, follow = to_plain(one), to_plain(other)
        for field in have:
            # As text, so that -0 is not 0, 1 is not 1.0 and NaN is itself.
            told, found = json.dumps(have[field]), json.dumps(follow[field])
            if told != found:
                yield (
                    f"finding {index + 1}, {one.case}/{one.judgement}: {field} is {_short(told)}, "
                    f"but {_short(found)} follows from the histories"
                )


def _short(text: str) -> str:
    return text if len(text) <= 120 else f"{text[:117]}..."


def _inputs(record: Record) -> Iterator[Objection]:
    """Kept case and sheet files that are not what was judged by, and cases whose file was not kept."""
    judged = {case_and_engine(planned.case.id)[0]: planned.case for planned in record.expectations}
    unkept = {case_and_engine(str(case_id))[0] for case_id in record.header.get("selected") or ()} & set(judged)
    called = {str(e.data.get("file")): str(e.data.get("name", "")) for e in record.events if e.kind == "input"}
    for name in record.names():
        try:
            if name.startswith(f"{INPUTS}/case/"):
                case = parse_case(_text(record, name), called.get(name, ""))
                unkept.discard(case.id)
                planned = judged.get(case.id)
                if planned is not None and _as_written(replace(planned, id=case.id)) != _as_written(case, planned):
                    yield Objection("input", f"{name}: not the case {case.id!r} that was judged")
            elif name.startswith(f"{INPUTS}/sheet/"):
                sheet = parse_sheet(_text(record, name), called.get(name, ""))
                told = (
                    *(named(record, "sheet").get(key) for key in ("id", "revision")),
                    record.header.get("arrangement"),
                )
                if (sheet.id, sheet.revision, sheet.word("hardware.arrangement")) != told:
                    yield Objection("input", f"{name}: not the sheet {told[0]!r} that was used")
        except (InputError, UnicodeDecodeError) as problem:
            yield Objection("input", f"{name}: cannot be read again ({problem})")
    yield from (
        Objection("input", f"the case {case_id!r} was judged, and its file is not kept") for case_id in sorted(unkept)
    )


def _text(record: Record, name: str) -> str:
    return (record.content(name) or b"").decode("utf-8")


def _as_written(case: ReferenceCase, judged: ReferenceCase | None = None) -> ReferenceCase:
    """The case without the tolerances that somebody has loosened in ``judged``, or in itself: a record tells so."""
    loosened = {j.id for j in (judged or case).judgements if j.tolerance is not None and j.tolerance.loosened}
    plain = tuple(replace(j, tolerance=None) if j.id in loosened else j for j in case.judgements)
    return replace(case, judgements=plain)


def _strangers(record: Record) -> Iterator[Objection]:
    """Files that belong to the record by its sums, and to nothing that the record speaks of."""
    spoken = {histories_path(planned.case.id) for planned in record.expectations}
    spoken |= {str(event.data.get("file")) for event in record.events if event.kind == "input"}
    for name in record.names():
        if name not in spoken:
            yield Objection("record", f"{name}: nothing in the record speaks of this file")


def _ending(record: Record) -> Iterator[str]:
    """An exit code that does not follow from the findings; those that files or signals bring stay as they are told."""
    if record.footer is None or record.footer["exit"] not in (ALL_PASSED, FINDINGS, NOTHING_JUDGED):
        return
    follows = exit_code(
        record.findings,
        handshake=True,
        input_errors=False,
        interrupted=False,
        internal=False,
        disorderly=record.ending == DISORDERLY,
    )
    if record.footer["exit"] != follows:
        yield f"its footer tells exit code {record.footer['exit']}, but {follows} follows from its findings"


def _remarks(record: Record, catalogue: Catalogue, objections: int) -> Iterator[str]:
    by = str(record.header.get("version", ""))
    if by != __version__:
        yield f"it was judged by leverproof {by}, and now by {__version__}: rules of judging may differ between them"
    if record.header.get("suite") not in (None, catalogue.suite):
        yield f"its suite is {record.header.get('suite')!r}, here it is {catalogue.suite!r}"
    if objections > _ENOUGH:
        yield f"{objections - _ENOUGH:,} further differences are not shown"
