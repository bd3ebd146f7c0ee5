"""Lines of the keys of a TOML text that is known to be valid."""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|' + r"'''(?:.|\n)*?'{3,5}|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'", re.DOTALL
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_ESCAPE = re.compile(r"\\(.)")


class _Scanner:
    """A cursor over the text; ``found`` collects the line of each key path as it is passed."""

    def __init__(self, text: str) -> None:
        self.text, self.at, self.found = text, 0, dict[Path, int]()
        self.tables: dict[Path, int] = {}

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match.group()

    def take(self, mark: str) -> bool:
        if self.text.startswith(mark, self.at):
            self.at += len(mark)
            return True
        return False

    def note(self, path: Path, start: int) -> None:
        self.found.setdefault(path, self.text.count("\n", 0, start) + 1)

    def key(self) -> list[str]:
        parts: list[str] = []
        while True:
            self.skip(_SPACE)
            quoted = self.skip(_STRING)
            if quoted:
                body = quoted[1:-1]
                parts.append(_ESCAPE.sub(r"\1", body) if quoted[0] == '"' else body)
            else:
                word = self.skip(_BARE_KEY)
                if not word:
                    return parts
                parts.append(word)
            self.skip(_SPACE)
            if not self.take("."):
                return parts

    def resolve(self, parts: list[str]) -> Path:
        """The path of a table header, with the index of the last element of each array of tables in it."""
        path: Path = ()
        for part in parts:
            path = (*path, part)
            if path in self.tables:
                path = (*path, self.tables[path])
        return path

    def header(self) -> Path:
        start = self.at
        doubled = self.take("[[")
        if not doubled:
            self.take("[")
        parts = self.key()
        self.take("]]" if doubled else "]")
        if doubled:
            plain = (*self.resolve(parts[:-1]), *parts[-1:])
            self.tables[plain] = self.tables.get(plain, -1) + 1
            self.note(plain, start)
        for end in range(1, len(parts) + 1):
            self.note(self.resolve(parts[:end]), start)
        return self.resolve(parts)

    def pair(self, table: Path) -> bool:
        start = self.at
        parts = self.key()
        if not parts:
            return False
        path = table
        for part in parts:
            path = (*path, part)
            self.note(path, start)
        self.skip(_SPACE)
        self.take("=")
        self.skip(_SPACE)
        self.value(path)
        return True

    def value(self, path: Path) -> None:
        if self.take("["):
            self.array(path)
        elif self.take("{"):
            self.skip(_BLANK)
            while not self.take("}") and self.pair(path):
                self.skip(_BLANK)
                self.take(",")
                self.skip(_BLANK)
        elif not self.skip(_STRING):
            self.skip(_SCALAR)

    def array(self, path: Path) -> None:
        index = 0
        self.skip(_BLANK)
        while self.at < len(self.text) and not self.take("]"):
            self.note((*path, index), self.at)
            before = self.at
            self.value((*path, index))
            self.skip(_BLANK)
            self.take(",")
            self.skip(_BLANK)
            index += 1
            if self.at == before:
                return

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self.skip(_BLANK)
            before = self.at
            if self.text.startswith("[", self.at):
                table = self.header()
            else:
                self.pair(table)
            if self.at in (before, len(self.text)):
                return self.found


def positions(text: str) -> dict[Path, int]:
    """Line, counted from 1, of every key, table and array element of ``text``, by path.

    For text that is not valid TOML, of as many as could be found.
    """
    return _Scanner(text).run()
