"""Answers to the questions of a command, from standard input."""

from __future__ import annotations

import sys


class Lines:
    """Answers from standard input: a person's on a terminal, else line by line until there are no more."""

    def __init__(self, *, silent: bool) -> None:
        self._over = silent
        self.patient = sys.stdin.isatty() and not silent

    def ask(self, words: str, prompt: str) -> str | None:
        self.tell(f"{words if self.patient else ''}{prompt}")
        line = "" if self._over else sys.stdin.readline()
        self._over = not line
        if not self.patient:
            self.tell(f"{line.strip()}\n")
        return line.rstrip("\r\n") if line else None

    def tell(self, words: str) -> None:
        sys.stderr.write(words)
        sys.stderr.flush()
