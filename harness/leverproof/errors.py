"""Errors that a person sees: what was read, where, what was expected, what to do next.

Each error is data; the command line renders it. Nothing here is a finding: a model that misbehaves ends in a
verdict, never in one of these reaching the user as a traceback.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

LONG_LIST = 20
LONG_TEXT = 2_000
"""Characters of a message, a place or a hint: whoever reads them is not helped by what a spoilt file holds more."""


@dataclass(eq=False)
class LeverproofError(Exception):
    """What went wrong, where, and what to do next.

    ``where`` names file and key, for example ``cases/boost.toml: run[0].steps[2].lever``; ``hint`` is the next
    step for the person reading. ``code`` is a stable word for machines.
    """

    message: str
    where: str = ""
    hint: str = ""
    code: str = "error"

    def __post_init__(self) -> None:
        self.message, self.where, self.hint = map(_shortened, (self.message, self.where, self.hint))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" ({self.hint})" if self.hint else ""
        return f"{place}{self.message}{advice}"


def _shortened(text: str) -> str:
    """Both ends of a text that is too long, and how much of it was left out between them."""
    if len(text) <= LONG_TEXT:
        return text
    kept = LONG_TEXT // 2
    return f"{text[:kept]} ... {len(text) - 2 * kept:,} characters left out ... {text[-kept:]}"


class UsageError(LeverproofError):
    """The command line asks for something that cannot be done (exit 2)."""


class InputError(LeverproofError):
    """A case, sheet, stand or deferral file is invalid (exit 2, the other cases still run)."""


@dataclass(eq=False)
class StandError(LeverproofError):
    """The model could not be mounted or broke the protocol. ``code`` is one of ``no_program``, ``no_handshake``,
    ``version``, ``protocol``, ``crash``, ``hang``, ``refused``; ``evidence`` carries the tail of its stderr. ``lanes``
    are those whose doing it can only have been; empty where it may have been any."""

    evidence: str = ""
    lanes: tuple[int, ...] = ()


_HOW_IT_ENDED = re.compile(r"exit code -?\d+|ended by signal \S+|the connection was closed|the process group was ended")


def last_words(evidence: str) -> tuple[str, str]:
    """How the process of a model ended, and the tail of what it wrote itself, from the ``evidence`` of a
    :class:`StandError`; either may be empty."""
    first, _, rest = evidence.strip().partition("\n")
    if _HOW_IT_ENDED.fullmatch(first.strip()):
        return first.strip(), rest.strip()
    return "", evidence.strip()


class ReproducibilityError(LeverproofError):
    """A record cannot be read again as it was written."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Hint naming the nearest of the ``known`` words, or listing them when none is near."""
    words = sorted(known)
    folded = [other for other in words if other.casefold() == word.casefold()]
    if folded:
        return f"did you mean {folded[0]!r}?"
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.5)
    if close:
        return f"did you mean {close[0]!r}?"
    if len(words) > LONG_LIST:
        return f"known: {', '.join(words[:LONG_LIST])} and {len(words) - LONG_LIST} more"
    return "known: " + ", ".join(words) if words else ""
