"""Results on disk: append-only, every line with a checksum of its own.

A folder holds ``campaign.json`` (which plan this is) and ``results/NNNN.jsonl``, one file for each time that the
campaign was started. A line is the first 16 hexadecimal digits of the SHA-256 of its text, a blank, and its text: one
JSON object with everything that one item gave. Lines are handed to the operating system as soon as their block is
done, so that nothing that was finished is lost when the process is killed; they are forced to the disk at least every
``SYNC_SECONDS`` while blocks come in and at the end, so that a machine that loses its power loses no more than that.

A line that is torn or damaged counts as not there, and its item is flown again; nothing is ever changed in place.
What is flown again on request is told beside the results, in ``again.jsonl``.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from leverproof import CAUTION, __version__
from leverproof.campaign.again import aside, number_of, set_aside
from leverproof.campaign.lines import SUM, body_of, line_of, text_of
from leverproof.campaign.model import Outcome
from leverproof.errors import ReproducibilityError, UsageError
from leverproof.record.layout import PROGRAM
from leverproof.record.plain import NotPlainError, from_plain, to_plain
from leverproof.record.whole_write import append

MANIFEST = "campaign.json"
RESULTS = "results"
FORMAT = 1
SYNC_SECONDS = 5.0
_TABLES = ("surroundings", "coefficients")
_NUMBERS = ("found", "expected", "low", "high", "doubt", "margin")
_TEXTS = frozenset(Outcome.__dataclass_fields__).difference(
    _TABLES, _NUMBERS, ("sample", "self_referential", "readings")
)
DIGEST_PART = 48
_BEGIN = re.compile(rb'\{"item":"([0-9a-f]{1,32})","block":"[0-9a-f]*",')
_ITEM, _STUDY, _NOTE, _BLOCK = "item", "study", "note", "block"
_COMMON = ("model", "sheet", "case", "subject", "sample", "coefficients")
_OWN = tuple(name for name in Outcome.__dataclass_fields__ if name not in (_ITEM, _BLOCK, *_COMMON))
_DEFAULTS = {name: entry.default for name, entry in Outcome.__dataclass_fields__.items()} | {"readings": {}}


@dataclass(frozen=True, slots=True)
class Damage:
    """A line that does not read as it was written: its file and number, and whether it is the last of its file without
    an end, as a process leaves it that is killed while it writes."""

    file: str
    line: int
    torn: bool


def encoded(outcomes: Sequence[Outcome]) -> bytes:
    """The line of one item, with its line feed. All outcomes are of one item and block; what they share is written
    once."""
    first = outcomes[0]
    text: dict[str, Any] = {_ITEM: first.item, _BLOCK: first.block}
    text |= {name: getattr(first, name) for name in _COMMON}
    text["rows"] = [_row(outcome) for outcome in outcomes]
    try:
        return line_of(text)
    except ValueError:
        # A number that is not finite: rare, and looking for one in every number costs more than all the rest.
        return line_of(to_plain(text))


def encoded_study(study: str, facts: Mapping[str, Any]) -> bytes:
    """The line that keeps what the step study of a model and sheet showed; ``facts`` is plain data."""
    return line_of({_STUDY: study, "facts": dict(facts)})


def encoded_note(words: str) -> bytes:
    """The line that keeps what was odd about a stand and belongs to no item."""
    return line_of({_NOTE: words})


def study_of(line: bytes) -> dict[str, Any]:
    """The facts in a line as :func:`encoded_study` wrote it; empty for another kind of line."""
    return dict((_checked(line) or {}).get("facts", {}))


def decoded(line: bytes) -> list[Outcome] | None:
    """The outcomes of one line as :func:`encoded` wrote it, None for another kind of line. Raises
    :class:`ReproducibilityError` where it is damaged."""
    text = _checked(line)
    if text is None:
        raise ReproducibilityError("a line of results does not have the checksum it was written with")
    return outcomes_of(text) if _ITEM in text else None


class Store:
    """The results of a campaign being written into ``folder``: a new file each time, opened in a ``with`` statement.

    ``plan`` is the digest of the plan, ``header`` plain data for the manifest. Raises :class:`UsageError` when the
    folder belongs to another plan or is not one of ours; then it is left as it was. Raises it too where the disk
    refuses a line, of which nothing is then left: what was kept before can be read, and the same command goes on."""

    def __init__(
        self, folder: Path, plan: str, header: Mapping[str, Any], *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.folder = folder
        self._plan, self._header, self._clock = plan, dict(header), clock
        self._lines: IO[bytes] | None = None
        self._due = 0.0

    def __enter__(self) -> Store:
        take(self.folder, self._plan, self._header)
        with _told(self.folder):
            self._lines = _next_file(self.folder / RESULTS)
        self._due = self._clock() + SYNC_SECONDS
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._lines is None:
            return
        lines, self._lines = self._lines, None
        try:
            with _told(self.folder):
                os.fsync(lines.fileno())
        except UsageError:
            # What has gone wrong before says more.
            if error is None:
                raise
        finally:
            lines.close()
            empty = Path(lines.name)
            if not empty.stat().st_size:
                empty.unlink()

    def append(self, lines: Sequence[bytes]) -> None:
        """Keeps the lines of a block, in one write."""
        if self._lines is None:
            raise RuntimeError("a store takes lines only while it is open")
        with _told(self.folder):
            append(self._lines, b"".join(lines))
            if self._clock() >= self._due:
                os.fsync(self._lines.fileno())
                self._due = self._clock() + SYNC_SECONDS


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    """Turns a refusal of the disk into words."""
    try:
        yield
    except OSError as reason:
        raise UsageError(
            f"cannot keep results: {reason.strerror or reason}",
            str(folder),
            "make room; what was kept before stays, and the same command goes on with what is not finished",
            "output",
        ) from None


def take(folder: Path, plan: str, header: Mapping[str, Any]) -> None:
    """Makes ``folder`` that of this plan, or finds that it is already. Raises :class:`UsageError` where it is
    something else, which is left untouched."""
    try:
        known = manifest(folder)
        if known is None:
            if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
                raise UsageError(
                    "this is no folder of a campaign; it was left untouched",
                    str(folder),
                    "move it away, or name another folder with --out",
                    "not_a_campaign",
                )
            _begin(folder, plan, header)
        elif known.get("plan") != plan:
            raise UsageError(
                f"this folder holds another campaign ({known.get('title', '')!r}), or this one has changed since",
                str(folder),
                "name another folder with --out; results of two plans, models or sets of cases are not mixed",
                "other_plan",
            )
        (folder / RESULTS).mkdir(exist_ok=True)
    except OSError as reason:
        raise UsageError(
            f"cannot keep results there: {reason.strerror or reason}", str(folder), "name another folder with --out"
        ) from None


def manifest(folder: Path) -> dict[str, Any] | None:
    """What the folder says of itself, None where it is none of ours."""
    try:
        found = json.loads((folder / MANIFEST).read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    ours = isinstance(found, dict) and found.get("program") == PROGRAM and found.get("format") == FORMAT
    return found if ours else None


def finished(folder: Path) -> set[int]:
    """The items that are there, as :func:`key` gives them."""
    found: set[int] = set()
    gone = aside(folder)
    for path in _files(folder):
        number = number_of(path)
        with path.open("rb") as lines:
            for line in lines:
                body = body_of(line)
                begun = _BEGIN.match(body) if body is not None else None
                if begun is not None and number > gone.get(int(begun[1], 16), -1):
                    found.add(int(begun[1], 16))
    return found


def fly_again(folder: Path, verdict: str, wanted: Callable[[str], bool]) -> int:
    """Sets aside what is there of every wanted item of which a judgement has that verdict, so that it counts as not
    finished; how many these are. Raises :class:`UsageError` where that cannot be kept."""
    found = [
        str(text[_ITEM])
        for text, _ in items(folder)
        if any(row.get("verdict") == verdict for row in text["rows"]) and wanted(text[_ITEM])
    ]
    if found:
        with _told(folder):
            set_aside(folder, found, max(map(number_of, _files(folder))))
    return len(found)


def key(item: str) -> int:
    """The id of an item as a number, which takes the least memory."""
    return int(item, 16)


def studies(folder: Path) -> dict[str, dict[str, Any]]:
    """What the step studies showed, by the id of their block."""
    return {str(text[_STUDY]): text["facts"] for text, _ in _texts(folder) if _STUDY in text}


def notes(folder: Path) -> list[str]:
    """What was odd about the stands, each once."""
    return list(dict.fromkeys(str(text[_NOTE]) for text, _ in _texts(folder) if _NOTE in text))


def outcomes(folder: Path) -> Iterator[Outcome]:
    """Every outcome, item by item in the order in which they were finished; an item that is there twice is given
    once."""
    for text, _ in items(folder):
        yield from outcomes_of(text)


def items(
    folder: Path, damages: list[Damage] | None = None, remarks: list[str] | None = None
) -> Iterator[tuple[dict[str, Any], bytes]]:
    """Every item once: its text as data, and the line it stands in. Damaged lines go to ``damages``, what :func:`notes`
    would give to ``remarks``."""
    yield from _once(_texts(folder, damages), remarks, set())


def items_in(lines: Iterable[bytes], remarks: list[str]) -> Iterator[tuple[dict[str, Any], bytes]]:
    """The same of lines that have just been written, of items that were not there before."""
    texts = ((text, line) for line in lines if (text := _checked(line)) is not None)
    yield from _once(texts, remarks, set())


def _once(
    texts: Iterable[tuple[dict[str, Any], bytes]], remarks: list[str] | None, seen: set[int]
) -> Iterator[tuple[dict[str, Any], bytes]]:
    for text, line in texts:
        if _ITEM not in text:
            if remarks is not None and _NOTE in text and str(text[_NOTE]) not in remarks:
                remarks.append(str(text[_NOTE]))
            continue
        number = key(text[_ITEM])
        if number not in seen:
            seen.add(number)
            yield text, line


def digest(folder: Path) -> str:
    """SHA-256 of the sorted set of results. Order, blocks, workers, shards and interruptions make no difference."""
    return digest_of(digest_part(text, line) for text, line in items(folder))


def digest_of(sums: Iterable[bytes]) -> str:
    """:func:`digest` from what :func:`digest_part` gives for each item."""
    whole = hashlib.sha256()
    for one in sorted(sums):
        whole.update(one)
    return whole.hexdigest()


def digest_part(text: Mapping[str, Any], line: bytes) -> bytes:
    """What one item brings to the digest, :data:`DIGEST_PART` bytes."""
    return key(text[_ITEM]).to_bytes(16) + result_sum(line)


def result_sum(line: bytes) -> bytes:
    """SHA-256 of what an item gave, wherever it was flown: of its line without checksum and block."""
    body = line[SUM + 1 :]
    begun = _BEGIN.match(body)
    return hashlib.sha256(body if begun is None else begun[1] + body[begun.end() :]).digest()


def _begin(folder: Path, plan: str, header: Mapping[str, Any]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    own = {"format": FORMAT, "program": PROGRAM, "version": __version__, "caution": CAUTION, "plan": plan}
    text = json.dumps(own | {k: v for k, v in header.items() if k not in own}, indent=1, sort_keys=True)
    beside = folder / f"{MANIFEST}.part"
    beside.write_text(text + "\n", encoding="utf-8")
    beside.replace(folder / MANIFEST)


def _next_file(folder: Path) -> IO[bytes]:
    """A file that nobody has written to: a torn tail is never written after. It has no buffer: what the disk refuses
    must not stay behind to be written later."""
    number = 1 + max(map(number_of, folder.glob("*.jsonl")), default=0)
    while True:
        try:
            return (folder / f"{number:04d}.jsonl").open("xb", buffering=0)
        except FileExistsError:
            number += 1


def _files(folder: Path) -> list[Path]:
    return sorted((folder / RESULTS).glob("*.jsonl"))


def _texts(folder: Path, damages: list[Damage] | None = None) -> Iterator[tuple[dict[str, Any], bytes]]:
    gone = aside(folder)
    for path in _files(folder):
        file = number_of(path)
        with path.open("rb") as lines:
            for number, line in enumerate(lines, 1):
                text = _checked(line)
                if text is not None:
                    if not gone or _ITEM not in text or file > gone.get(key(text[_ITEM]), -1):
                        yield text, line
                elif damages is not None:
                    damages.append(Damage(path.name, number, not line.endswith(b"\n")))


def _checked(line: bytes) -> dict[str, Any] | None:
    """The text of a line; None unless it is whole, has its checksum and is one of ours."""
    text = text_of(line)
    return text if text is not None and (_named(text) or _beside(text)) else None


def _beside(text: Mapping[str, Any]) -> bool:
    return isinstance(text.get(_STUDY), str) or isinstance(text.get(_NOTE), str)


def _named(text: Mapping[str, Any]) -> bool:
    name = text.get(_ITEM)
    return isinstance(name, str) and len(name) <= 32 and name != "" and all(c in "0123456789abcdef" for c in name)


def _row(outcome: Outcome) -> dict[str, Any]:
    return {name: value for name in _OWN if (value := getattr(outcome, name)) != _DEFAULTS[name]}


def outcomes_of(text: Mapping[str, Any]) -> list[Outcome]:
    """The outcomes in the text of an item; raises :class:`ReproducibilityError` where it does not hold any."""
    common = {name: value for name, value in text.items() if name != "rows"}
    try:
        rows = [{**common, **row} for row in text["rows"]]
        if all(_plainly(row) for row in rows):
            return [Outcome(**row) for row in rows]
        return [from_plain(Outcome, row, f"item {text[_ITEM]}") for row in rows]
    except (NotPlainError, TypeError, KeyError) as reason:
        raise ReproducibilityError(f"a line of results does not hold an outcome: {reason}") from None


def _plainly(row: Mapping[str, Any]) -> bool:
    """Whether a row is as an outcome holds it. Whole numbers and numbers that are not finite are not: they are read
    the long way, as is what does not fit at all, to say what is wrong with it."""
    for name, value in row.items():
        if name in _TEXTS:
            fits = type(value) is str
        elif name in _NUMBERS:
            fits = type(value) is float
        elif name in _TABLES:
            fits = type(value) is dict and all(type(number) is float for number in value.values())
        elif name == "readings":
            fits = type(value) is dict and all(
                type(told) is dict and all(type(number) is float for number in told.values()) for told in value.values()
            )
        else:
            fits = type(value) is (bool if name == "self_referential" else int)
        if not fits:
            return False
    return True
