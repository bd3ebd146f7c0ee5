"""Point findings put together from a ruling and its numbers."""

from __future__ import annotations

from leverproof.judge.decision import Ruling
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.words import amount


def measured(
    label: str,
    ruling: Ruling,
    *,
    found: float,
    expected: float,
    unit: str,
    doubts: tuple[Doubt, ...] = (),
    notes: tuple[str, ...] = (),
    found_text: str = "",
    expected_text: str = "",
    tolerance: str = "",
) -> PointFinding:
    """A finding with numbers; texts default to number and unit."""
    return PointFinding(
        label=label,
        found=found,
        expected=expected,
        unit=unit,
        excess=ruling.excess,
        limit=ruling.limit,
        w=ruling.w,
        verdict=ruling.verdict,
        doubts=doubts,
        note="; ".join(n for n in (ruling.note, *notes) if n),
        found_text=found_text or amount(found, unit),
        expected_text=expected_text or amount(expected, unit),
        tolerance_text=tolerance,
    )


def worded(label: str, ruling: Ruling, *, found_text: str, expected_text: str, note: str = "") -> PointFinding:
    """A finding about words or states, without numbers."""
    return PointFinding(
        label=label,
        found=None,
        expected=None,
        unit="1",
        excess=ruling.excess,
        limit=ruling.limit,
        w=ruling.w,
        verdict=ruling.verdict,
        note="; ".join(n for n in (ruling.note, note) if n),
        found_text=found_text,
        expected_text=expected_text,
    )


def withheld(label: str, verdict: str, note: str) -> PointFinding:
    """A finding where nothing could be judged."""
    return PointFinding(label, None, None, "1", None, 0.0, 0.0, verdict, note=note)


ORDER = (
    "fail", "error", "invalid run", "conditional fail", "inconclusive", "not run", "conditional pass", "pass",
)  # fmt: skip


def worst(points: list[PointFinding]) -> PointFinding | None:
    """The deciding point: worst verdict first, then the largest excess over what was allowed. Points that are
    ``not applicable`` are left out; None when no other is there."""
    counted = [p for p in points if p.verdict != "not applicable"]
    if not counted:
        return None
    return min(counted, key=lambda p: (ORDER.index(p.verdict), -beyond_allowed(p)))


def beyond_allowed(point: PointFinding) -> float:
    """Excess less the tolerance; 0 when the finding has no number."""
    return 0.0 if point.excess is None else point.excess - point.limit
