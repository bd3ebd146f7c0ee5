"""Whether something stands at a path that somebody wrote down.

A name that no file can have (too long, with a NUL in it, through a loop of links) names nothing: the answer is no, and
whoever asked says what was expected there.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path


def is_file(path: Path) -> bool:
    """Whether a file is there that can be looked at."""
    return _yes(path.is_file)


def is_folder(path: Path) -> bool:
    """Whether a folder is there that can be looked at."""
    return _yes(path.is_dir)


def is_there(path: Path) -> bool:
    """Whether anything is there that can be looked at."""
    return _yes(path.exists)


def whole_path(path: Path) -> Path:
    """The path from the root, links followed where they lead anywhere."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):  # a loop of links, a name too long
        return path.absolute()


def is_name(path: Path) -> bool:
    """Whether a file could be there: false for a name too long, with a NUL in it, or that is a loop of links."""
    try:
        path.stat()
    except FileNotFoundError:
        return True
    except (OSError, ValueError):
        return False
    return True


def _yes(asked: Callable[[], bool]) -> bool:
    try:
        return asked()
    except (OSError, ValueError):
        return False
