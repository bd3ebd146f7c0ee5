"""A prediction on the terminal: one table, the caution, what was missing and what that did."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tabulate import tabulate

from leverproof.report.wording import visible

_HEAD = ("what", "unit", "median", "5 %", "95 %", "samples", "sheet", "note")


def render(document: Mapping[str, Any]) -> str:
    """The text of a prediction document, ending in a line feed."""
    at = f"{document['airspeed']['value']:g} kt true, {document['mixture'].replace('_', ' ')}"
    lines = [
        visible(f"{document['sheet']}: {document['title']}"),
        f"predicted from the sheet alone; levers throttle first; {at}; "
        f"{document['samples']} samples, seed {document['seed']}",
        "",
        tabulate(_rows(document), headers=_HEAD, disable_numparse=True,
                 colalign=("left", "left", "right", "right", "right", "right", "right", "left")),
        "",
        "5 % and 95 %: band from sampling what the sheet leaves in doubt. samples: share that has the number.",
        f"calibration: {document['calibration']}.",
        f"boost travel and levers together: {document['lever_law']}.",
        *_missing(document["missing"]),
    ]  # fmt: skip
    if document["derived_from"]:
        lines.append("taken from a model, not independent of it: " + ", ".join(document["derived_from"]))
    lines += ["", visible(document["caution"]), ""]
    return "\n".join(lines)


def _missing(missing: Sequence[Mapping[str, str]]) -> list[str]:
    if not missing:
        return ["missing data: none."]
    return ["missing data:", *(f"  {m['datum']}: {m['effect']}" for m in missing)]


def _rows(document: Mapping[str, Any]) -> list[list[str]]:
    numbers = document["numbers"]
    rows = [_row(n) for n in numbers if n["altitude"] is None]
    for altitude in document["asked"]:
        rows.append([f"at {altitude:g} ft, take-off pressure and rpm"] + [""] * (len(_HEAD) - 1))
        rows += [_row(n, indent="- ") for n in numbers if n["altitude"] == altitude and _worth_a_line(n)]
    return rows


def _worth_a_line(number: Mapping[str, Any]) -> bool:
    """Parts of an advantage that has no number would only repeat why."""
    part = number["name"].startswith("split_lever_advantage.") and ".procedure" not in number["name"]
    return number["median"] is not None or not part


def _row(number: Mapping[str, Any], *, indent: str = "") -> list[str]:
    values = [_figure(number[key], number["unit"]) for key in ("median", "low", "high")]
    said = number["sheet"]
    told = ""
    if said:
        told = _figure(said["value"], number["unit"])
        told += f" +/-{_figure(said['doubt'], number['unit'])}" if said["doubt"] else ""
    unit = "" if number["unit"] == "1" else number["unit"]
    return [indent + number["meaning"], unit, *values, f"{100 * number['share']:.0f} %", told, _note(number)]


def _note(number: Mapping[str, Any]) -> str:
    """Words, then what refuses or sets the number in which share of the samples, where that is not all of them."""
    causes = [
        f"{word} {100 * share:.0f} %" for word, share in number["causes"].items() if share >= 0.005
        and not (share > 0.995 and word in number["words"])
    ]  # fmt: skip
    return "; ".join(([number["words"]] if number["words"] else []) + causes)


def _figure(value: float | None, unit: str) -> str:
    if value is None:
        return "-"
    if unit in ("ft", "rpm"):
        return f"{round(value, -1):.0f}"
    if unit == "hp":
        return f"{value:.0f}"
    return f"{value:.2f}" if unit == "1" else f"{value:.1f}"
