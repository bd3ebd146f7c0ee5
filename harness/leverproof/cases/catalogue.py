"""All reference cases that can be run: the shipped ones and a user's own folders."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path

from leverproof.cases.loader import parse_case
from leverproof.cases.model import ReferenceCase
from leverproof.errors import InputError, UsageError, nearest
from leverproof.reference_data import reference_data
from leverproof.there import is_folder
from leverproof.toml_file import parse_toml, read_text


@dataclass(frozen=True)
class Catalogue:
    """The cases in order of the ladder of subjects, the problems of the files that could not be read, the ladder
    (subject -> subjects it stands on), the verbatim text of each case by id, and what each of the ``problems`` may be
    asked for as: the id in its file, where one can be made out, else the name of the file; and the subject in it."""

    cases: tuple[ReferenceCase, ...]
    problems: tuple[InputError, ...]
    ladder: dict[str, tuple[str, ...]]
    texts: dict[str, str]
    suite: str
    unread: tuple[str, ...] = ()
    unread_subjects: tuple[str, ...] = ()

    def notes(self) -> tuple[str, ...]:
        """What a person should know of cases that can be read: those written for another version of the suite."""
        return tuple(words for case in self.cases if (words := other_suite(case, self.suite)))

    def subjects(self) -> tuple[str, ...]:
        """Subjects in ladder order, then those of the user's own cases."""
        own = sorted({c.subject for c in self.cases} - set(self.ladder))
        return (*self.ladder, *own)

    def select(self, patterns: Sequence[str], subjects: Sequence[str]) -> tuple[ReferenceCase, ...]:
        """The cases whose id fits a pattern and whose subject is named; all when nothing is asked.

        A pattern or subject of a case alone that could not be read costs no other case; what is wrong is among the
        ``problems``. Raises what is wrong with it when no other case is left, and :class:`UsageError` for a pattern
        or subject that fits nothing, with the nearest word."""
        broken: list[InputError] = []
        for pattern in patterns:
            if not fnmatch.filter([c.id for c in self.cases], pattern):
                named = zip(self.unread, self.problems, strict=True)
                meant = [problem for name, problem in named if fnmatch.fnmatchcase(name, pattern)]
                if not meant:
                    near = nearest(pattern, [c.id for c in self.cases])
                    raise UsageError(f"no case fits {pattern!r}", "--case", near + self._unread(), "case")
                broken += meant
        for subject in subjects:
            if subject not in self.subjects():
                told = zip(self.unread_subjects, self.problems, strict=False)
                meant = [problem for name, problem in told if name == subject]
                if not meant:
                    near = nearest(subject, self.subjects())
                    raise UsageError(f"no subject {subject!r}", "--subject", near + self._unread(), "subject")
                broken += meant
        found = tuple(
            c
            for c in self.cases
            if (not patterns or any(fnmatch.fnmatchcase(c.id, p) for p in patterns))
            and (not subjects or c.subject in subjects)
        )
        if broken and not found:
            raise broken[0]
        return found

    def _unread(self) -> str:
        """Words on files that could not be read, in which what was asked for may be."""
        if not self.problems:
            return ""
        first, more = self.problems[0], len(self.problems) - 1
        others = f", and {more} more" if more else ""
        return f"; a case file could not be read: {first}{others}"

    def case(self, case_id: str) -> ReferenceCase:
        """The case of that id; raises :class:`UsageError` naming the nearest."""
        for case in self.cases:
            if case.id == case_id:
                return case
        hint = nearest(case_id, [c.id for c in self.cases])
        if not hint.startswith("did"):
            hint = "`leverproof cases` lists them"
        raise UsageError(f"no case {case_id!r}", "the command line", hint, "case")


def other_suite(case: ReferenceCase, suite: str) -> str:
    """The warning about a case written for another version of the suite than ``suite``; "" without one."""
    if not case.suite or case.suite == suite:
        return ""
    return f"{case.path}: case {case.id!r} was written for suite version {case.suite}, this is version {suite}"


def load_catalogue(folders: Sequence[str] = (), *, shipped: Callable[[str], bool] | None = None) -> Catalogue:
    """The shipped cases and those under the user's ``folders``; of the shipped ones only those whose id is ``shipped``,
    where that is given: reading all of them takes a while.

    A file that cannot be read becomes a problem and costs no other case. A user's case must not take the id of
    another."""
    ladder, suite = _suite()
    cases: dict[str, ReferenceCase] = {}
    texts: dict[str, str] = {}
    problems: list[InputError] = []
    unread: dict[int, tuple[str, str]] = {}
    for where, source in _files(folders, problems, shipped):
        text = ""
        try:
            text = read_text(source)
            case = parse_case(text, where)
            if case.id in cases:
                raise duplicate(case.id, where, cases[case.id].path)
        except InputError as problem:
            unread[len(problems)] = (_told(_ID, text) or source.name.removesuffix(".toml"), _told(_SUBJECT, text))
            problems.append(problem)
            continue
        cases[case.id] = case
        texts[case.id] = text
    order = {subject: i for i, subject in enumerate(ladder)}
    ranked = sorted(cases.values(), key=lambda c: (order.get(c.subject, len(order)), c.subject, c.id))
    named = [unread.get(index, ("", "")) for index in range(len(problems))]
    names, subjects = (tuple(entry[part] for entry in named) for part in (0, 1))
    return Catalogue(tuple(ranked), tuple(problems), ladder, texts, suite, names, subjects)


def _told(what: re.Pattern[str], text: str) -> str:
    """The id or subject that a case file which cannot be read gives itself, as far as that can be told; else ""."""
    found = what.search(text)
    return found.group(2) if found else ""


_ID, _SUBJECT = (re.compile(rf"""^{key}[ \t]*=[ \t]*(["'])([^"'\n]+)\1""", re.MULTILINE) for key in ("id", "subject"))


def duplicate(case_id: str, where: str, other: str) -> InputError:
    """What is wrong with a case in ``where`` whose id the file ``other`` has already."""
    return InputError(
        f"duplicate case id {case_id!r}, also in {other}", f"{where}: id", "give it another id", "duplicate"
    )


def _suite() -> tuple[dict[str, tuple[str, ...]], str]:
    file = reference_data() / "suite.toml"
    document = parse_toml(read_text(file), "suite.toml")
    ladder = {entry["name"]: tuple(entry.get("stands_on", ())) for entry in document["subject"]}
    return ladder, str(document["version"])


def _files(
    folders: Sequence[str], problems: list[InputError], shipped: Callable[[str], bool] | None
) -> Iterator[tuple[str, Traversable]]:
    for where, source in case_files(reference_data() / "cases", "cases", problems):
        # A shipped case has the name of its file.
        if shipped is None or shipped(source.name.removesuffix(".toml")):
            yield where, source
    for folder in folders:
        path = Path(folder)
        if not is_folder(path):
            problems.append(
                InputError(f"{folder!r} is not a folder", "--cases", "name a folder that holds case files", "folder")
            )
            continue
        before, some = len(problems), False
        for found in case_files(path, str(path), problems):
            some = True
            yield found
        if not some and len(problems) == before:
            problems.append(
                InputError(
                    "no case file in this folder",
                    f"--cases {folder}",
                    "case files end in .toml; name the folder that holds them",
                    "folder",
                )
            )


def case_files(folder: Traversable, where: str, problems: list[InputError]) -> Iterator[tuple[str, Traversable]]:
    """(where, file) of every case file under a folder; a folder that cannot be listed goes to ``problems``."""
    try:
        entries = sorted(folder.iterdir(), key=lambda e: e.name)
    except OSError as reason:
        problems.append(
            InputError(
                f"cannot list this folder: {reason.strerror or reason}",
                where,
                "name a folder that can be read",
                "folder",
            )
        )
        return
    for entry in entries:
        if entry.is_dir():
            # A link to a folder may lead back to one above it.
            if not (isinstance(entry, Path) and entry.is_symlink()):
                yield from case_files(entry, f"{where}/{entry.name}", problems)
        elif entry.name.endswith(".toml"):
            yield f"{where}/{entry.name}", entry
