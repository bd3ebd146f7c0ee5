"""The folder of a baseline: read as untrusted plain data and held against its own sums, written whole.

Nothing is signed: whoever writes new sums into every file can change what they say. What is found is what changed by
accident, by hand or by a merge.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from leverproof.baseline.layout import (
    ACCEPTED,
    BLOCKS,
    FORMAT,
    LARGEST,
    LARGEST_VERSIONS,
    LOG,
    POINTS,
    PROGRAM,
    VERSIONS,
    canonical,
    digest,
    lines_of,
    version_path,
)
from leverproof.baseline.model import Acceptance, Baseline, HeldRun, Version
from leverproof.channels import CHANNELS
from leverproof.errors import InputError, UsageError
from leverproof.judge.model import VERDICTS
from leverproof.record.plain import NotPlainError, from_plain, to_plain
from leverproof.there import is_file, is_there
from leverproof.timegrid import CONTROL_TICKS

T = TypeVar("T")

_RESTORE = "bring the folder back as it was from version control, or remove it and accept a run anew"
_MAY_READ = "see who may read it"
_CHANGED = "not as it was accepted: changed by hand or by a merge"
_FIRST = "accept a run first: leverproof baseline accept RECORD --by NAME --why TEXT"


@dataclass(frozen=True)
class Kept:
    """A baseline as read: the accepted run and the log of every acceptance, the last of which is of that run."""

    folder: Path
    baseline: Baseline
    log: tuple[Acceptance, ...]

    @property
    def acceptance(self) -> Acceptance:
        """Who accepted the run that is held, and why."""
        return self.log[-1]


def read_baseline(folder: Path) -> Kept:
    """The baseline in ``folder``. Raises :class:`UsageError` where there is none yet, :class:`InputError` with file
    and key for one that is damaged, changed by hand or of another format."""
    kept = read_if_there(folder)
    if kept is None:
        raise UsageError("there is no baseline here: nothing to hold a run against", str(folder), _FIRST, "no_baseline")
    return kept


def read_if_there(folder: Path) -> Kept | None:
    """The baseline in ``folder``, None where the folder is missing or empty. Raises as :func:`read_baseline` does,
    and :class:`UsageError` for a folder of something else."""
    if not _there(folder):
        return None
    log = _read_log(folder / LOG)
    where = str(folder / ACCEPTED)
    plain = _document(_content(folder / ACCEPTED), where)
    _ours(plain, where)
    _sums(plain, where)
    baseline = _typed(Baseline, plain, where)
    _tier(baseline, where)
    last = log[-1]
    if baseline.version != last.version:
        words = f"it is version {baseline.version}, and the log ends with version {last.version}"
        raise _damaged(f"{words}: an acceptance or a merge was cut short", where)
    if baseline.acceptance != _line_sum(to_plain(last, sparse=True)):
        raise _damaged(f"this line is {_CHANGED}", f"{folder / LOG}:{last.version}")
    if last.baseline != _head_sum(plain):
        raise _damaged(f"it is {_CHANGED}, as version {last.version}", where)
    for name, case in baseline.cases.items():
        for key, run in case.runs.items():
            _fits(run, baseline, f"{where}: cases.{name}.runs.{key}")
        for judgement, finding in case.findings.items():
            if any(use.count("/") != 2 for use in finding.uses):
                raise _damaged("a reading is RUN/READING/CHANNEL", f"{where}: cases.{name}.findings.{judgement}.uses")
            if finding.verdict not in VERDICTS:
                raise _damaged(f"unknown verdict {finding.verdict!r}", f"{where}: cases.{name}.findings.{judgement}")
    for acceptance in log:
        _numbers(folder, acceptance)
    return Kept(folder, baseline, log)


def read_versions(kept: Kept) -> list[Version]:
    """The numbers of every accepted version, the first first. Raises as :func:`read_baseline` does."""
    out = []
    for acceptance in kept.log:
        path = kept.folder / version_path(acceptance.version)
        plain = _numbers(kept.folder, acceptance)
        version = _typed(Version, plain, str(path))
        _keyed(version, str(path))
        if version.version != acceptance.version:
            raise _damaged(f"it is of version {version.version}", f"{path}: version")
        out.append(version)
    return out


def _numbers(folder: Path, acceptance: Acceptance) -> dict[str, Any]:
    """What the file of one version says, which is what its line of the log has the sum of."""
    path = folder / version_path(acceptance.version)
    plain = _document(_content(path), str(path))
    _ours(plain, str(path))
    if digest(plain) != acceptance.numbers:
        raise _damaged("it is not as it was written when its run was accepted", str(path))
    return plain


def _keyed(version: Version, where: str) -> None:
    """Keys that name what they should, and finite numbers."""
    for key in version.judged:
        if key.count("/") < 2:
            raise _damaged("this names no judgement at a point", f"{where}: judged.{key}")
    for key, number in version.readings.items():
        if key.count("/") != 4 or key.rpartition("/")[2] not in CHANNELS or not math.isfinite(number):
            raise _damaged("this is no number of a reading", f"{where}: readings.{key}")
    for key, held in version.judged.items():
        if not all(math.isfinite(n) for n in (held.found, held.expected, held.limit) if n is not None):
            raise _damaged("a number that is not finite", f"{where}: judged.{key}")


def write_acceptance(
    folder: Path, baseline: Baseline, numbers: Version, acceptance: Acceptance, before: Sequence[Acceptance]
) -> None:
    """Writes a version: its numbers, the run, and last its line of the log. ``acceptance`` comes without sums, which
    are added here. Raises :class:`UsageError` where the folder cannot be written."""
    plain, told = to_plain(baseline, sparse=True), to_plain(numbers, sparse=True)
    line = to_plain(acceptance, sparse=True)
    line |= {"numbers": digest(told), "previous": digest(to_plain(before[-1], sparse=True)) if before else ""}
    plain["acceptance"] = _line_sum(line)
    line["baseline"] = _head_sum(plain)
    lines = [canonical(to_plain(one, sparse=True)) for one in before] + [canonical(line)]
    try:
        (folder / VERSIONS).mkdir(parents=True, exist_ok=True)
        _replace(folder / version_path(acceptance.version), lines_of(told))
        _replace(folder / ACCEPTED, lines_of(plain))
        _replace(folder / LOG, "".join(f"{one}\n" for one in lines))
    except OSError as reason:
        words = f"cannot write the baseline: {reason.strerror or reason}"
        raise UsageError(words, str(folder), "name another folder with --to", "output") from None


def _replace(path: Path, text: str) -> None:
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, "utf-8", newline="\n")
    beside.replace(path)


def _there(folder: Path) -> bool:
    """Whether there is anything of a baseline in ``folder``; raises for a folder that holds something else."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        what = "a link" if folder.is_symlink() else "a file"
        raise UsageError(f"this is {what}, not the folder of a baseline", str(folder), "name a folder", "folder")
    try:
        found = {entry.name for entry in folder.iterdir()} if folder.is_dir() else set()
    except OSError as reason:
        words = f"cannot be read: {reason.strerror or reason}"
        raise UsageError(words, str(folder), _MAY_READ, "not_a_baseline") from None
    if found and not found & {ACCEPTED, LOG}:
        words = "this folder holds something else than a baseline; it was left untouched"
        raise UsageError(words, str(folder), "name another folder, or an empty one", "not_a_baseline")
    return bool(found)


def _read_log(path: Path) -> tuple[Acceptance, ...]:
    out: list[Acceptance] = []
    previous = ""
    lines = _content(path).split("\n")
    if lines and not lines[-1]:
        lines.pop()
    for number, text in enumerate(lines, start=1):
        where = f"{path}:{number}"
        plain = _document(text, where)
        _ours(plain, where)
        entry = _typed(Acceptance, plain, where)
        if entry.version != number or number > LARGEST_VERSIONS:
            raise _damaged(f"version {entry.version} stands where version {number} should", where)
        if entry.previous != previous:
            raise _damaged("the line before it is not the one that was there: a log only grows", where)
        previous = digest(plain)
        out.append(entry)
    if not out:
        raise _damaged("it holds no acceptance", str(path))
    return tuple(out)


def _content(path: Path) -> str:
    if not is_file(path) or path.is_symlink():
        raise _damaged("this file is missing" if not is_there(path) else "this is no file", str(path))
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise _damaged(f"{size:,} bytes are more than the {LARGEST:,} allowed", str(path))
        return path.read_bytes().decode("utf-8").replace("\r\n", "\n")
    except OSError as reason:
        words = f"this file of the baseline cannot be read: {reason.strerror or reason}"
        raise InputError(words, str(path), _MAY_READ, "baseline") from None
    except UnicodeDecodeError as reason:
        raise _damaged(f"byte {reason.start:,} is not UTF-8", str(path)) from None


def _document(text: str, where: str) -> dict[str, Any]:
    """One JSON object, in which no key stands twice and every number is one."""

    def refuse(word: str) -> NoReturn:
        raise ValueError(f"{word} is not a JSON number")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            twice = next(key for index, (key, _) in enumerate(pairs) if key in dict(pairs[:index]))
            raise ValueError(f"the key {twice[:60]!r} stands twice in one object")
        return found

    try:
        found = json.loads(text, parse_constant=refuse, object_pairs_hook=once)
        canonical(found)
    except json.JSONDecodeError as reason:
        raise _damaged(f"not JSON: {reason.msg}", f"{where}:{reason.lineno}") from None
    except (ValueError, RecursionError) as reason:
        raise _damaged(f"not JSON of ours: {reason}", where) from None
    if not isinstance(found, dict):
        raise _damaged("not a JSON object", where)
    return found


def _ours(plain: dict[str, Any], where: str) -> None:
    if plain.get("program") != PROGRAM:
        raise InputError("this is no file of a baseline of ours", f"{where}: program", _RESTORE, "baseline")
    if plain.get("format") != FORMAT or isinstance(plain.get("format"), bool):
        words = f"this baseline is of format {str(plain.get('format'))[:40]}, not {FORMAT}"
        raise InputError(words, f"{where}: format", "read it with the version that wrote it", "baseline_format")


def _line_sum(line: dict[str, Any]) -> str:
    """Sum of a line of the log without its sum of the accepted run, which holds this one."""
    return digest({key: value for key, value in line.items() if key != "baseline"})


def _head_sum(plain: dict[str, Any]) -> str:
    """Sum of everything but the cases, which the sums in it stand for."""
    return digest({key: value for key, value in plain.items() if key != "cases"})


def _sums(plain: dict[str, Any], where: str) -> None:
    """Every case is as it was written, and none is missing or added."""
    cases, sums = plain.get("cases"), plain.get("sums")
    for key, found in (("cases", cases), ("sums", sums)):
        if not isinstance(found, dict):
            raise _damaged(f"{key} is no object", f"{where}: {key}")
    assert isinstance(cases, dict) and isinstance(sums, dict)
    for name in sorted({*cases, *sums}):
        if name not in cases:
            raise _damaged("this case is missing", f"{where}: cases.{name}")
        if digest(cases[name]) != sums.get(name):
            raise _damaged(f"this case is {_CHANGED}", f"{where}: cases.{name}")


def _typed(kind: type[T], plain: dict[str, Any], where: str) -> T:
    try:
        return from_plain(kind, plain)
    except NotPlainError as reason:
        path, _, told = str(reason).partition(": ")
        raise _damaged(told or path, f"{where}: {path.lstrip('.')}" if told else where) from None


def _tier(baseline: Baseline, where: str) -> None:
    """Tolerances and doubts are finite and not below zero, of channels there are: a run cannot pass by a tolerance that
    is no number."""
    for name, held in baseline.tolerances.items():
        if name not in CHANNELS or not all(math.isfinite(v) and v >= 0.0 for v in (held.value, held.time)):
            raise _damaged("no tolerance of a channel", f"{where}: tolerances.{name}")
    for name, u in baseline.doubts.items():
        if not (math.isfinite(u) and u >= 0.0):
            raise _damaged("no doubt of a channel", f"{where}: doubts.{name}")


def _fits(run: HeldRun, baseline: Baseline, where: str) -> None:
    """A run that can be compared with: its numbers fit one another."""
    for key, told in _misfits(run, baseline):
        raise _damaged(told, f"{where}.{key}")


def _misfits(run: HeldRun, baseline: Baseline) -> Iterator[tuple[str, str]]:
    if run.step <= 0 or CONTROL_TICKS % run.step or run.rows < 0:
        yield "step", "no grid step of ours"
    if not run.jitter >= 0.0 and run.jitter == run.jitter:
        yield "jitter", "below zero"
    for name, blocks in run.curves.items():
        rows = [row for block in blocks for row in block.rows]
        if name not in CHANNELS or name not in baseline.tolerances:
            yield f"curves.{name}", "a channel without a tolerance"
        if len(blocks) > BLOCKS or any(not 0 < len(b.rows) <= POINTS or len(b.rows) != len(b.values) for b in blocks):
            yield f"curves.{name}", f"at most {BLOCKS} blocks of 1 to {POINTS} points are a curve"
        if not all(math.isfinite(value) for block in blocks for value in block.values):
            yield f"curves.{name}", "a value is not a finite number"
        if any(a >= b for a, b in pairwise(rows)) or (rows and (rows[0] or rows[-1] >= run.rows)):
            yield f"curves.{name}", "its rows do not rise from the first within the run"
    for name, values in run.readings.items():
        strange = sorted(set(values) - set(baseline.tolerances))
        if strange:
            yield f"readings.{name}.{strange[0]}", "a channel without a tolerance"
    last = 0
    for index, step in enumerate(run.steps):
        if not last <= step.row <= step.end <= run.rows:
            yield f"steps[{index}]", "its rows lie outside the run or the step before"
        last = step.row


def _damaged(what: str, where: str) -> InputError:
    return InputError(f"this baseline cannot be trusted: {what}", where, _RESTORE, "baseline")
