"""What a model did wrong, with its evidence."""

from __future__ import annotations

from leverproof.errors import StandError

CODES = ("no_program", "no_handshake", "version", "protocol", "crash", "hang", "refused")


def trouble(message: str, code: str, *, where: str = "", hint: str = "", evidence: str = "") -> StandError:
    """A :class:`StandError` of one of ``CODES``; ``evidence`` is the tail of a traceback or of stderr."""
    error = StandError(message, where, hint, code)
    error.evidence = evidence
    return error
