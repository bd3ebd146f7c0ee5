"""What a case's method can see, said before the run: the least difference that stands out of the doubt."""

from __future__ import annotations

import math

from leverproof.channels import CHANNELS
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.resolve import judged_unit


def resolvability(planned: PlannedCase) -> list[dict[str, object]]:
    """For each difference judged: case, judgement, what can be seen (U95, in the judged unit) and the effect
    expected in words.

    Two steady readings, each free within its channel's steadiness band (rectangular), give a difference known to
    2 sqrt(2) band / (2 sqrt(3)): the rule of combining independent standard uncertainties (JCGM 100:2008)."""
    lines: list[dict[str, object]] = []
    for judgement in planned.judgements:
        if judgement.what != "difference" or not planned.points:
            continue
        band = CHANNELS[judgement.channel].band
        sees = 2.0 * math.sqrt(2.0) * band / (2.0 * math.sqrt(3.0))
        resolved = planned.points[0].resolved[judgement.id]
        wanted = resolved.get("at_least") or resolved.get("expected")
        effect = judgement.resolves or (
            f"at least {wanted.value:g} {judged_unit(judgement)}" if wanted is not None else ""
        )
        lines.append(
            {
                "case": planned.case.id,
                "judgement": judgement.id,
                "sees": sees,
                "unit": judged_unit(judgement),
                "effect": effect,
            }
        )
    return lines
