"""A user's own case begun from a shipped one, each key with a comment that says what it is for."""

from __future__ import annotations

import re
from pathlib import Path

from leverproof.cases.catalogue import Catalogue
from leverproof.cases.key_meanings import key_meaning
from leverproof.cases.loader import parse_case
from leverproof.errors import UsageError
from leverproof.toml_positions import positions

_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_COMMENT = re.compile(r"^\s*#")


def case_like(catalogue: Catalogue, like: str, path: Path, *, new_id: str | None = None) -> str:
    """The text of a case of one's own to be written to ``path``: the one called ``like`` with another id, the suite's
    version and a comment at every key that appears for the first time.

    ``new_id`` is by default the file's name. Raises :class:`UsageError` for a case that is not there, an id that is
    taken or is none, and a file that exists already."""
    source = catalogue.texts[catalogue.case(like).id]
    if path.suffix != ".toml":
        raise UsageError(f"{path.name!r} does not end in .toml", "--out", "cases are found by that ending", "output")
    name = new_id or path.name.removesuffix(".toml").removesuffix(".case")
    if not _ID.fullmatch(name):
        raise UsageError(f"{name!r} is no id", "--id", "lower-case words joined by hyphens", "id")
    if name in catalogue.texts:
        raise UsageError(f"there is a case {name!r} already", "--id", f"for example my-{name}", "duplicate")
    if path.exists() or path.is_symlink():
        raise UsageError("there already, nothing was written", str(path), "name another file with --out", "exists")
    text = _renamed(source, name, catalogue.suite)
    out = f"# Begun from the shipped case {like}. Every key: docs/reference/cases.md\n\n{_commented(text)}"
    parse_case(out, str(path))
    return out


def _renamed(text: str, name: str, suite: str) -> str:
    text = re.sub(r"^suite\s*=.*\n", "", text, flags=re.M)
    return re.sub(r'^id\s*=\s*"[^"]*"', f'id = "{name}"\nsuite = "{suite}"', text, count=1, flags=re.M)


def _commented(text: str) -> str:
    """``text`` with what each key means above the line where a key of that name and place first stands."""
    told: set[tuple[str, ...]] = set()
    above: dict[int, list[str]] = {}
    for path, line in sorted(positions(text).items(), key=lambda found: (found[1], len(found[0]))):
        names = tuple(part for part in path if isinstance(part, str))
        meaning = key_meaning(path) if isinstance(path[-1], str) else ""
        if meaning and names not in told:
            told.add(names)
            above.setdefault(line, []).append(f"# {names[-1]}: {meaning}")
    return "".join(_with_comments(text.splitlines(keepends=True), above))


def _with_comments(lines: list[str], above: dict[int, list[str]]) -> list[str]:
    out: list[str] = []
    for number, line in enumerate(lines, start=1):
        indent = line[: len(line) - len(line.lstrip())]
        words = above.get(number, [])
        # ahead of the comments that the key has already
        at = len(out)
        while words and at > 0 and _COMMENT.match(out[at - 1]):
            at -= 1
        out[at:at] = [f"{indent}{word}\n" for word in words]
        out.append(line)
    return out
