"""The summary of a campaign as one JSON object, for programs; ``campaign-summary.schema.json`` describes it.

Numbers that are not finite are the strings ``NaN``, ``Infinity`` and ``-Infinity``.
"""

from __future__ import annotations

import json
from typing import Any

from leverproof import CAUTION, __version__
from leverproof.campaign.shares import Share
from leverproof.campaign.summary import Group, Summary, Worst
from leverproof.campaign.surfaces import Surface
from leverproof.record.plain import to_plain

FORMAT = 1
_KEPT = (
    "item", "model", "sheet", "case", "subject", "point", "sample", "surroundings", "coefficients", "judgement", "what",
    "weight", "basis", "unit", "verdict", "found", "expected", "low", "high", "doubt", "self_referential",
    "trouble",
)  # fmt: skip
"""What is told of one outcome: nothing of where and in which block it was flown, which changes no result."""


def render(found: Summary) -> str:
    """The summary as text, indented, ending with a line end. The same outcomes give the same text."""
    return json.dumps(summary_object(found), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def summary_object(found: Summary) -> dict[str, Any]:
    """The summary as an object of plain data."""
    out: dict[str, Any] = {
        "format": FORMAT,
        "program": "leverproof",
        "version": __version__,
        "caution": CAUTION,
        "title": found.title,
        "plan": found.plan,
        "items": found.items,
        "outcomes": found.outcomes,
        "failed": found.failed,
        "notes": list(found.notes),
        "left_out": list(found.left_out),
        "whole": _group(found.whole),
        "groups": [{"kind": group.kind, "name": group.name, **_group(group)} for group in found.groups],
        "samples": [{"model": d.model, "sheet": d.sheet, "share": _share(d.share)} for d in found.draws],
        "worst": [_worst(worst) for worst in found.worst],
        "surfaces": [_surface(surface) for surface in found.surfaces],
        "sensitivities": [to_plain(one) for one in found.sensitivities],
        "troubles": [to_plain(one) for one in found.troubles],
    }
    plain: dict[str, Any] = to_plain(out)
    return plain


def _share(told: Share) -> dict[str, Any]:
    return {"passed": told.passed, "judged": told.judged, "low": told.low, "high": told.high}


def _group(group: Group) -> dict[str, Any]:
    return {
        "share": _share(group.share),
        "required": group.required,
        "advisory": group.advisory,
        "self_referential": group.self_referential,
    }


def _worst(worst: Worst) -> dict[str, Any]:
    """The outcome, and its margin in what ``scale`` says."""
    own = {name: getattr(worst.outcome, name) for name in _KEPT}
    return {"standing": worst.standing, "scale": worst.scale, **own, "margin": worst.margin}


def _surface(surface: Surface) -> dict[str, Any]:
    """A reading's surface names the channel, a judgement's its kind."""
    own: dict[str, Any] = to_plain(surface)
    if surface.of == "judgement":
        own["what"] = own.pop("channel")
    return own
