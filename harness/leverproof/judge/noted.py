"""What numbers written down by a person cannot show, because they are no history."""

from __future__ import annotations

from leverproof.cases.model import Judgement

_EVERY_MOMENT = "it looks at every moment of a run; a recording shows that, numbers written down do not"
_REASONS = {
    "limit": _EVERY_MOMENT,
    "history": "it compares whole histories; a recording has them, numbers written down do not",
    "order": "it asks what came first; a recording shows that, numbers written down do not",
    "response": "it asks how long something takes; a recording shows that, numbers written down do not",
    "identity": "it compares three readings of one instant, and a person reads one gauge after another",
    "same": "nobody flies the same thing twice bit for bit",
    "grid_step": "nobody sets a model's time step from the cockpit",
    "unmoved": _EVERY_MOMENT,
}

STEADY = frozenset(("value", "difference", "trend", "state", "ending", "crossing", "exponent", "level_speed"))
"""Kinds of judgement that steady numbers can answer."""


def needs_history(judgement: Judgement) -> str:
    """Why steady numbers are not enough for a judgement, in words; "" where they are."""
    if judgement.what == "state":
        return _EVERY_MOMENT if judgement.table or judgement.seen else ""
    return "" if judgement.what in STEADY else _REASONS.get(judgement.what, _EVERY_MOMENT)
