"""A new sheet as a file: where it goes, what it holds, and that the loader takes it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from leverproof.errors import InputError, UsageError
from leverproof.sheet.authoring.draft import sheet_text, slug
from leverproof.sheet.authoring.interview import Asked, Interviewed, interview, without
from leverproof.sheet.authoring.losses import Judged
from leverproof.sheet.loader import parse_sheet
from leverproof.sheet.model import EngineSheet

_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class NewSheet:
    """A sheet to be written: its path, its text, how many cases apply to it, and what its blanks do to predictions."""

    path: Path
    text: str
    applicable: int
    notes: tuple[str, ...]


def pairs(words: Sequence[str]) -> dict[str, str]:
    """``KEY=TEXT`` options as answers by key; raises :class:`UsageError` for one of another shape or given twice."""
    out: dict[str, str] = {}
    for word in words:
        key, equals, text = word.partition("=")
        key = key.strip()
        if not equals:
            raise UsageError(f"{word!r} is not of the form KEY=TEXT", "--answer", "--list lists the keys", "answer")
        if key in out:
            raise UsageError(f"{key} is answered twice", "--answer", "answer each once", "repeated")
        out[key] = text
    return out


def new_sheet(
    given: Mapping[str, str],
    asked: Asked,
    judged: Judged,
    *,
    out: Path | None = None,
    sheet_id: str | None = None,
) -> NewSheet:
    """The sheet of the answers, loaded once to be sure; nothing is written.

    Answers that contradict each other are asked once more of a person, who keeps all the others. Raises
    :class:`UsageError` before the first question for a file that is there, and for an answer that cannot be used;
    :class:`InputError` for answers that contradict each other where nobody can be asked."""
    if sheet_id is not None and not _ID.fullmatch(sheet_id):
        raise UsageError(f"{sheet_id!r} is no id", "--id", "lower-case words joined by hyphens", "id")
    if out is not None:
        _free(out)
    found = interview(given, asked, judged)
    name = sheet_id or slug(found.answers["title"].value)
    path = out or Path(f"{name}.sheet.toml")
    _free(path)
    while True:
        text = sheet_text(found, sheet_id=name)
        try:
            sheet = parse_sheet(text, str(path))
            break
        except InputError as error:
            found = _once_more(error, found, given, asked, judged)
    return NewSheet(path, text, len(judged(sheet)), _predicted_from(sheet))


def _once_more(
    error: InputError, found: Interviewed, given: Mapping[str, str], asked: Asked, judged: Judged
) -> Interviewed:
    """The questions that contradict each other, put again to a person, whose other answers stay; else ``error``."""
    left = without(found, error.where.rpartition(": ")[2])
    again = found.put - left.put
    if not asked.patient or not again:
        raise error
    asked.tell(f"\n  {error.message}{f' ({error.hint})' if error.hint else ''}; these once more:\n")
    return interview({key: text for key, text in given.items() if key not in again}, asked, judged, before=left)


def _predicted_from(sheet: EngineSheet) -> tuple[str, ...]:
    """What the predictor does without the data that are blank, in its own words."""
    from leverproof.physics.predictor.calibrate import sampled_engine

    try:
        missing = sampled_engine(sheet, samples=1, seed=1).notes.missing
    except InputError as refused:
        return (f"nothing can be predicted from it yet: {refused.message}",)
    return tuple(f"predictions without {path}: {words}" for path, words in missing.items())


def _free(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise UsageError("there already, nothing was written", str(path), "name another file with --out", "exists")
