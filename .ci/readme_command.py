"""Prints a command of the README, so that what people are told to type is what the gate runs.

``python3 .ci/readme_command.py NAME`` prints the fenced block that follows the line ``<!-- command: NAME -->``.
Exits 1 when there is not exactly one such block. Needs nothing but Python.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"


def command(name: str, text: str) -> str:
    """The fenced block marked ``name`` in ``text``; raises :class:`LookupError` unless there is exactly one."""
    pattern = rf"^<!-- command: {re.escape(name)} -->\n+```[a-z]*\n(.*?)^```$"
    found = re.findall(pattern, text, re.MULTILINE | re.DOTALL)
    if len(found) != 1:
        raise LookupError(f"{README.name} holds {len(found)} fenced blocks marked 'command: {name}', not one")
    return str(found[0])


if __name__ == "__main__":
    try:
        sys.stdout.write(command(sys.argv[1], README.read_text("utf-8")))
    except LookupError as problem:
        sys.exit(str(problem))
