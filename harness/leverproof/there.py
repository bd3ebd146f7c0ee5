"""Whether something stands at a path that somebody wrote down.

A name that no file can have (too long, with a NUL in it, through a loop of links) names nothing: the answer is no, and
whoever asked says what was expected there.
"""

from __future__ import annotations

from pathlib import Path


def is_file(path: Path) -> bool:
    """Whether a file is there that can be looked at."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Whether a folder is there that can be looked at."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def is_there(path: Path) -> bool:
    """Whether anything is there that can be looked at."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False
