"""What was accepted over time, as text and as JSON: every acceptance, and what drifts over them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from leverproof import CAUTION, __version__
from leverproof.baseline.drift import FAR, Drift, Past, Series, drifting
from leverproof.baseline.model import Acceptance
from leverproof.judge.words import amount, number, spoken
from leverproof.record.plain import to_plain
from leverproof.report.baseline_accepted import change_lines, few
from leverproof.report.wording import count, fill

FORMAT = 1
MOST = 40
_RULE = (
    "A number drifts when a line through at least three versions has a slope beyond twice its standard error and has "
    "moved by a twentieth of its tolerance or more. Each version is held only against the one before; this is where "
    "many small moves are seen as one."
)


def render(found: Past, *, width: int = 110) -> str:
    """The history as text of at most about ``width`` columns."""
    lines = [f"{found.folder}: {count(len(found.log), 'version')}", ""]
    for one in found.log:
        lines += [fill(line, width, indent=indent, hang="      ") for indent, line in _told(one)]
    lines += ["", fill(headline(found), width)]
    lines += [fill(line, width, indent="  ", hang="      ") for line in _moving(drifting(found))]
    return "\n".join([*lines, "", fill(_RULE, width), "", fill(CAUTION, width)]) + "\n"


def _moving(several: Sequence[Series]) -> Iterator[str]:
    """The judged numbers that drift, and the readings by channel."""
    judged = [series for series in several if series.kind == "judged"]
    yield from (f"{title(series)}: {drift_words(series)}" for series in judged[:MOST])
    if len(judged) > MOST:
        yield f"and {len(judged) - MOST:,} more, which the page and the JSON have"
    by_channel: dict[str, list[Series]] = {}
    for series in several:
        if series.kind == "reading":
            by_channel.setdefault(series.channel, []).append(series)
    for channel, some in by_channel.items():
        fastest = max(some, key=lambda series: abs(series.drift.tolerances or 0.0) if series.drift else 0.0)
        yield f"readings of {spoken(channel)}: {len(some)}; fastest {title(fastest)}: {drift_words(fastest)}"


def _told(one: Acceptance) -> Iterator[tuple[str, str]]:
    yield "", f"version {one.version}, {one.origin.date}, by {one.by}: {one.why}"
    yield from (("    ", line) for line in acceptance_lines(one))


def acceptance_lines(one: Acceptance) -> Iterator[str]:
    """Of which model a version is, what it changed and what was accepted with it."""
    origin = one.origin
    model = " ".join(part for part in (origin.model, origin.model_version) if part)
    yield f"{model or 'a model'}, fingerprint {origin.fingerprint[:12] or 'none'}, sheet {origin.sheet.id}"
    if one.changed is not None:
        yield from change_lines(one.changed)
    if one.failures:
        yield f"accepted with failures ({'; '.join(few(one.failures))}), because: {one.despite}"
    if one.fewer:
        yield f"fewer cases, because: {one.fewer}"


def headline(found: Past) -> str:
    """How many numbers drift."""
    moving = drifting(found)
    judged = sum(series.kind == "judged" for series in moving)
    readings = len(moving) - judged
    of = f"{count(len(found.judged), 'judged number')} and {count(len(found.readings), 'reading')}"
    if len(found.log) < 3:
        return f"{of}; three versions are needed to see a drift"
    if not moving:
        return f"No drift: none of {of} is on its way out of its band within {FAR} versions"
    return f"Drifting: {count(judged, 'judged number')} and {count(readings, 'reading')}, of {of}"


def title(series: Series) -> str:
    """A number in words: case, judgement or reading, channel, point."""
    channel = f", {spoken(series.channel)}" if series.channel else ""
    point = f", {series.point}" if series.point else ""
    return f"{series.case}, {series.name}{channel}{point}"


def drift_words(series: Series) -> str:
    """How a number drifts, and how long until it is out."""
    drift = series.drift
    if drift is None:
        return "does not drift" if len(series.spots) > 2 else "three versions are needed to see a drift"
    slope = amount(drift.slope, series.unit)
    if drift.tolerances is not None:
        slope += f" ({number(float(f'{drift.tolerances:.2g}'))} tolerances)"
    return f"{slope} a version over {drift.versions} versions; {left_words(series, drift)}"


def left_words(series: Series, drift: Drift) -> str:
    """How many versions are left."""
    judged = series.kind == "judged"
    if drift.left is None:
        return "away from the edge of its band"
    if drift.left == 0:
        return "out of its band" if judged else "further from its first version than one tolerance"
    versions = count(drift.left, "more version")
    if judged:
        return f"it fails after {versions} if that goes on"
    return f"{versions} until it is one tolerance from its first version"


def render_json(found: Past) -> str:
    """The history as one object; ``baseline-history.schema.json`` among the schemas describes it."""
    document = {
        "format": FORMAT,
        "program": "leverproof",
        "version": __version__,
        "caution": CAUTION,
        "baseline": found.folder,
        "acceptances": [to_plain(one) for one in found.log],
        "judged": [_plain(series) for series in found.judged],
        "readings": [_plain(series) for series in found.readings],
        "drifting": [series.key for series in drifting(found)],
    }
    return json.dumps(to_plain(document), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(series: Series) -> dict[str, Any]:
    plain = asdict(series)
    return plain | {"words": series.words, "told": drift_words(series) if series.drift is not None else ""}
