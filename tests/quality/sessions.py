"""Whole sessions for the quality tests: one run of the library against one model, and what failed in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from leverproof.judge.endings import ENDINGS
from leverproof.record.reader import Record, read_record
from leverproof.session import RunRequest, run_session

REPOSITORY = Path(__file__).parents[2]


@dataclass(frozen=True)
class Outcome:
    """Exit code of a session, its record, and the cases with a required finding that did not pass."""

    code: int
    record: Record
    fired: frozenset[str]

    def failures(self) -> list[str]:
        """Each required finding that did not pass, in words."""
        return [
            f"{f.case}/{f.judgement}: {f.verdict}: {f.found} against {f.expected}; {f.note}"
            for f in self.record.findings
            if f.weight == "required" and ENDINGS[f.verdict].passed is False
        ]

    def passes(self) -> int:
        """Required findings that passed and do not refer to the model itself."""
        return sum(
            1
            for f in self.record.findings
            if f.weight == "required" and ENDINGS[f.verdict].passed is True and not f.self_referential
        )


def session(out: Path, **asked: object) -> Outcome:
    """One session; ``asked`` are fields of :class:`RunRequest`."""
    code = run_session(RunRequest(out=out, **asked))  # type: ignore[arg-type]
    record = read_record(out)
    fired = {
        f.case
        for f in record.findings
        if f.weight == "required" and ENDINGS[f.verdict].passed is False and f.verdict != "blocked"
    }
    return Outcome(code, record, frozenset(fired))


def embedded_stand(folder: Path, sheet: str, options: str) -> str:
    """A stand file for the embedded engine with options, beside nothing else; returns its path."""
    path = folder / f"{sheet}.stand.toml"
    path.write_text(
        f'format = 1\ntitle = "embedded engine, changed"\nkind = "reference_engine"\ntarget = "{sheet}"\n'
        f'sheet = "{sheet}"\ngrid_step = "0.05 s"\nclock = "stepped"\n[options]\n{options}\n',
        "utf-8",
    )
    return str(path)
