"""A second opinion on whether a file that was taken means anything: it reads the document, not the loaded object."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from .mutants import Tables, leaves, quantities, quantity

Said = Iterator[str]


def meaningless(kind: str, tables: Tables) -> list[str]:
    """What in a document of that kind means nothing, in words."""
    said = list(_numbers(tables))
    if kind == "case":
        said += [*_tolerances(tables), *_bands(tables), *_trends(tables), *_runs(tables)]
    elif kind == "sheet":
        said += list(_data(tables))
    elif kind == "stand":
        said += list(_stand(tables))
    elif kind == "deferrals":
        said += list(_deferrals(tables))
    return said


def _numbers(tables: Tables) -> Said:
    for parent, key, path in leaves(tables):
        if isinstance(parent[key], float) and not math.isfinite(parent[key]):
            yield f"{path} is not finite"
    for _, key, number, unit in quantities(tables):
        if not math.isfinite(number):
            yield f"{key} = {number} {unit}"


def _tolerances(tables: Tables) -> Said:
    for judgement in tables["judgement"]:
        tolerance = judgement.get("tolerance")
        if tolerance is None:
            continue
        absolute, percent = tolerance.get("absolute"), tolerance.get("percent")
        if absolute is None and percent is None:
            yield "a tolerance of nothing"
        width = quantity(absolute) or (quantity(str(absolute)) if isinstance(absolute, int | float) else None)
        if width is not None and width[0] <= 0.0:
            yield f"a tolerance of {absolute}"
        if percent is not None and percent <= 0.0:
            yield f"a tolerance of {percent} %"
        expected = quantity(judgement.get("expected"))
        if expected is None:
            continue
        if percent is not None and tolerance.get("of") == "expected" and expected[0] == 0.0:
            yield "a percentage of zero"
        plain = width is not None and percent is None and expected[1] == width[1] and expected[1][:3] != "deg"
        if plain and width is not None and 0.0 < abs(expected[0]) < width[0]:
            yield f"{absolute} of {expected}"


def _bands(tables: Tables) -> Said:
    for sweep in tables.get("sweep", {}).values():
        if "between" in sweep:
            low, high = (quantity(str(bound)) for bound in sweep["between"])
            if low is not None and high is not None and low[1] == high[1] and low[0] >= high[0]:
                yield f"between {low} and {high}"
    for judgement in tables["judgement"]:
        window = judgement.get("window")
        if window is not None and (
            window[0] == "end" or window[1] == "start" or window == ["start", "start"]
        ):
            yield f"a window of {window}"


def _trends(tables: Tables) -> Said:
    for judgement in tables["judgement"]:
        if judgement["what"] != "trend":
            continue
        if "over" in judgement:
            sweep = tables["sweep"][judgement["over"]]
            if len(sweep["points"]) + sweep.get("off_points", 0) < 3:
                yield "a trend over fewer than three points"
        elif len(judgement["readings"]) < 3:
            yield "a trend over fewer than three readings"


def _runs(tables: Tables) -> Said:
    for run in tables["run"]:
        for step in run["steps"]:
            for key in ("for", "limit", "over", "within"):
                found = quantity(step.get(key))
                if found is not None and found[0] <= 0.0:
                    yield f"{step['do']} {key} = {step[key]}"


def _data(tables: Tables) -> Said:
    for table, entries in tables.items():
        if not isinstance(entries, dict):
            continue
        for key, entry in entries.items():
            yield from _datum(f"{table}.{key}", entry) if isinstance(entry, dict) else ()


def _datum(name: str, entry: dict[str, Any]) -> Said:
    value, doubt = (quantity(str(entry[key])) if key in entry else None for key in ("value", "doubt"))
    if doubt is not None and doubt[0] < 0.0:
        yield f"{name}: doubt {doubt}"
    if value is None or value[1] in ("degC", "degF", "K", "ft", "m"):
        return
    if value[0] <= 0.0:
        yield f"{name} = {value}"
    if doubt is not None and doubt[1] == value[1] and doubt[0] >= value[0]:
        yield f"{name}: doubt {doubt} of {value}"


def _stand(tables: Tables) -> Said:
    for key, words in tables.get("deadlines", {}).items():
        found = quantity(words)
        if found is None or found[0] <= 0.0:
            yield f"deadline {key} = {words}"
    for name, entry in tables.get("channels", {}).items():
        if entry.get("scale") == 0:
            yield f"{name}: scale of zero"


def _deferrals(tables: Tables) -> Said:
    for entry in tables.get("deferral", ()):
        if entry["limit"].strip().startswith(("0 ", "-", "nan", "inf")):
            yield f"limit {entry['limit']}"
        if not entry["owner"].strip() or not entry["reason"].strip():
            yield "nobody answers for it"
    for entry in tables.get("loosening", ()):
        if not 1.0 < entry["times"] <= 10.0:
            yield f"loosened {entry['times']} times"
