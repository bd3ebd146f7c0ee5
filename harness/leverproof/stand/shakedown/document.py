"""A shakedown as one JSON document, of the schema ``shakedown``."""

from __future__ import annotations

import math
from typing import Any

from leverproof import __version__
from leverproof.stand.shakedown.model import ENDINGS, Shakedown


def document_of(found: Shakedown) -> dict[str, Any]:
    """Plain tables, lists, text and numbers; a number that is not finite is None."""
    return {
        "format": 1,
        "program": "leverproof",
        "version": __version__,
        "stand": found.title,
        "model": str(found.facts.get("model", "")),
        "model_version": str(found.facts.get("version", "")),
        "seed": found.seed,
        "exit": found.exit_code,
        "counts": {ending: len(found.ended(ending)) for ending in ENDINGS},
        "warnings": [str(line) for line in found.facts.get("warnings", ())],
        "items": [
            {
                "name": result.name,
                "question": result.question,
                "ending": result.ending,
                "seen": result.outcome.seen,
                "mend": result.outcome.mend,
                "blocked_by": result.blocked_by,
                "measures": {k: float(v) if math.isfinite(v) else None for k, v in result.outcome.measures.items()},
            }
            for result in found.results
        ],
    }
