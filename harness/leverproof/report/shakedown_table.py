"""A shakedown on the terminal: a table of the items, then how to mend what failed."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from tabulate import tabulate

from leverproof.report.table import painted
from leverproof.report.wording import fill, visible

_HEAD = ("item", "ending", "seen")
_GAP = 2
_LEAST = 30


def render(document: Mapping[str, Any], *, width: int = 110, colour: bool = False) -> str:
    """The text of a shakedown document, ending in a line feed."""
    items = document["items"]
    model = f"{document['model']} {document['model_version']}".strip() or "a model that never said hello"
    lines = [
        visible(f"{document['stand']}: {model}"),
        f"seed {document['seed']}",
        "",
        _table(items, width, colour=colour),
    ]
    broken = [item for item in items if item["ending"] == "fail"]
    if broken:
        lines += ["", "How to mend it:"]
        lines += [fill(f"{item['name']}: {item['mend']}", width, indent="  ", hang="    ") for item in broken]
    warnings = [fill(f"the model wrote: {line}", width, hang="  ") for line in document["warnings"] if line.strip()]
    lines += ["", *warnings, *([""] if warnings else []), _summary(document), ""]
    return "\n".join(lines)


def _table(items: list[Mapping[str, Any]], width: int, *, colour: bool) -> str:
    reach = [max([len(_HEAD[i]) + 2, *(len(item[key]) for item in items)]) for i, key in enumerate(("name", "ending"))]
    room = max(width - sum(reach) - 2 * _GAP, _LEAST)
    rows = []
    for item in items:
        seen = textwrap.wrap(visible(item["seen"]), room, break_on_hyphens=False) or [""]
        rows.append([item["name"], painted(item["ending"], item["ending"], colour=colour), "\n".join(seen)])
    return tabulate(rows, _HEAD, tablefmt="simple", disable_numparse=True)


def _summary(document: Mapping[str, Any]) -> str:
    counts = document["counts"]
    parts = [f"{counts[ending]} {words}" for ending, words in _WORDS.items() if counts[ending]]
    total = sum(counts.values())
    verdict = {0: "shaken down", 1: "not shaken down", 3: "no handshake"}[document["exit"]]
    return f"{verdict}: {total} {'item' if total == 1 else 'items'}: {', '.join(parts)}"


_WORDS = {"pass": "passed", "fail": "failed", "blocked": "blocked", "not applicable": "not applicable"}
