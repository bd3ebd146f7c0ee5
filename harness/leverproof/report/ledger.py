"""The ledger of tolerances: each with what it is of, its reason, basis, source and tier; and, where records show it,
how sharp each required case is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from tabulate import tabulate

from leverproof.cases.model import AMOUNTS, Judgement, ReferenceCase, Tolerance, Value
from leverproof.report.case_page import tolerance_words
from leverproof.report.margins import BLUNT, Catch, Deviation, Margin
from leverproof.report.wording import count, fill, visible

FORMAT = 1
_TIERS = {
    "validation": "validation: against data, the most that is acceptable",
    "simulation": "simulation: 40 % of it applies, because the reference is another simulation",
    "regression": "regression: the model against itself",
}


def entries(cases: Sequence[ReferenceCase]) -> list[dict[str, Any]]:
    """One entry a tolerance, those of time beside those of value, as plain data."""
    return [entry for case in cases for judgement in case.judgements for entry in _entries(case, judgement)]


def _entries(case: ReferenceCase, judgement: Judgement) -> Iterator[dict[str, Any]]:
    """The tolerances of a judgement: of its value, of the time of a tube, of the times of a study of the grid step."""
    stated, tube = judgement.tolerance, judgement.time_within
    if stated is not None:
        whole = "the reference's change" if judgement.measure in AMOUNTS else "the expected value"
        text = tolerance_words(_bare(stated), expected=whole)
        tier = tier_words(judgement, stated)
        yield _entry(case, judgement, "tolerance", text, tier, stated.reason) | {"loosened": stated.loosened}
    if tube is not None:
        yield _entry(case, judgement, "time_tolerance", tolerance_words(_bare(tube)), _ANY_TIER, tube.reason)
    if judgement.time_tolerance is not None:
        text = f"{judgement.time_tolerance:g} % or one coarse step, whichever is less restrictive"
        reason = stated.reason if stated is not None else ""
        yield _entry(case, judgement, "time_tolerance", text, _TIERS["regression"], reason)


_ANY_TIER = "as it is stated, in every tier"


def _entry(case: ReferenceCase, judgement: Judgement, key: str, text: str, tier: str, reason: str) -> dict[str, Any]:
    kind, channel = (word.replace("_", " ") for word in (judgement.what, judgement.channel))
    return {
        "case": case.id,
        "judgement": judgement.id,
        "subject": case.subject,
        "key": key,
        "of": f"{kind} of {channel}" if channel else kind,
        "tolerance": text,
        "tier": tier,
        "reason": reason,
        "basis": judgement.basis,
        "source": judgement.source,
        "weight": judgement.weight,
        "loosened": "",
    }


def _bare(stated: Tolerance) -> Tolerance:
    return Tolerance(stated.absolute, stated.percent, stated.of)


def tier_words(judgement: Judgement, stated: Tolerance) -> str:
    """The tier of a tolerance and what it does; where none is stated, what follows from its basis."""
    if stated.tier:
        return _TIERS[stated.tier]
    if isinstance(stated.of, Value) and stated.of.predicted:
        return "none stated: a prediction, whose own band this is"
    if judgement.basis == "predicted":
        return "none stated: a prediction, whose band counts as doubt"
    return "none stated: applies as it is, as in validation"


def render(
    cases: Sequence[ReferenceCase], measured: Sequence[Margin] | None, left_out: int, *, width: int = 110
) -> str:
    """The ledger as text of about ``width`` columns; with ``measured`` the margins follow."""
    listed = entries(cases)
    parts = [_subject(subject, listed, width) for subject in dict.fromkeys(e["subject"] for e in listed)]
    without = sum(j.tolerance is None for case in cases for j in case.judgements)
    told = (
        f"{count(len(listed), 'tolerance')} in {count(len(cases), 'case')}; {count(without, 'judgement')} without one"
    )
    parts.append(fill(f"{told}: words, signs and least differences.", width))
    if measured is not None:
        parts += _measured(measured, left_out, width)
    return "\n\n".join(parts) + "\n"


def _subject(subject: str, listed: Sequence[dict[str, Any]], width: int) -> str:
    lines = [visible(subject).capitalize()]
    for entry in listed:
        if entry["subject"] != subject:
            continue
        time = ", in time" if entry["key"] == "time_tolerance" else ""
        name = f"{entry['case']}/{entry['judgement']} ({entry['weight']}): {entry['of']}{time}, {entry['tolerance']}"
        lines.append(fill(name, width, indent="  ", hang="      "))
        for head in ("reason", "tier", "basis", "source", "loosened"):
            if entry[head]:
                lines.append(fill(str(entry[head]), width, indent=f"      {head:<9} ", hang=" " * 16))
    return "\n".join(lines)


def _measured(measured: Sequence[Margin], left_out: int, width: int) -> Iterator[str]:
    rows = [
        [visible(m.case), m.standing, str(m.engines), _far(m.honest), _weakest(m.weakest), _apart(m.weakest)]
        for m in measured
    ]
    heads = ["case", "", "engines", "honest, at most", "weakest caught", "apart"]
    yield "Margins\n\n" + tabulate(rows, heads, disable_numparse=True, colalign=("left", "left", *["right"] * 4))
    yield fill(
        "Numbers are tolerances, or doubts (U95) with a d where there is no tolerance. A case is blunt when the "
        f"weakest defect it caught lies less than {BLUNT:g} beyond the expectation, or beyond the worst honest engine "
        "where that is off to the same side.",
        width,
    )
    blunt = [m for m in measured if m.standing == "blunt"]
    if blunt:
        yield "\n".join(["Blunt", *(fill(_why(m), width, indent="  ", hang="      ") for m in blunt)])
    words = [m for m in measured if m.in_words]
    if words:
        told = [f"{m.case}: {', '.join(m.in_words)}" for m in words]
        title = "Caught in words or as a run that could not be judged, so without a margin"
        yield "\n".join([title, *(fill(line, width, indent="  ", hang="      ") for line in told)])
    idle = [m.case for m in measured if m.standing == "nothing caught"]
    if idle:
        yield fill(f"Caught nothing in these records: {', '.join(idle)}.", width)
    if left_out:
        yield f"{count(left_out, 'finding')} left out, because a user had loosened their tolerance."


def _far(found: Deviation | None) -> str:
    return "-" if found is None else f"{found.amount:.2f}{'d' if found.scale == 'doubts' else ''}"


def _weakest(caught: Catch | None) -> str:
    return "-" if caught is None else _far(caught.deviation)


def _apart(caught: Catch | None) -> str:
    return "-" if caught is None or caught.apart is None else f"{caught.apart:.2f}"


def _why(margin: Margin) -> str:
    caught = margin.weakest
    if caught is None or caught.deviation is None:
        return margin.case
    beside = caught.honest
    honest = "no honest engine was judged by it" if beside is None else f"{beside.of} is {_far(beside)} off by it"
    return (
        f"{margin.case}: {caught.defect} is {_far(caught.deviation)} off by {caught.deviation.judgement}; {honest}; "
        f"{_apart(caught)} apart, of {count(margin.caught, 'defect')} caught"
    )


def document(cases: Sequence[ReferenceCase], measured: Sequence[Margin] | None, left_out: int) -> dict[str, Any]:
    """The ledger as one object of plain data."""
    return {
        "format": FORMAT,
        "program": "leverproof",
        "tolerances": entries(cases),
        "blunt_below": BLUNT,
        "margins": None if measured is None else [plain_margin(m) for m in measured],
        "left_out": left_out,
    }


def plain_margin(margin: Margin) -> dict[str, Any]:
    """A margin as plain data."""
    caught = margin.weakest
    return {
        "case": margin.case,
        "standing": margin.standing,
        "engines": margin.engines,
        "honest": _deviation(margin.honest),
        "caught": margin.caught,
        "weakest": None
        if caught is None
        else {
            "defect": caught.defect,
            "deviation": _deviation(caught.deviation),
            "honest": _deviation(caught.honest),
            "apart": caught.apart,
        },
        "in_words": list(margin.in_words),
    }


def _deviation(found: Deviation | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"amount": found.amount, "scale": found.scale, "judgement": found.judgement, "of": found.of}
