"""The generated parts of docs/explanation/physics.md: published values beside ours, and the split-lever numbers.

``python -m tests.published.page`` from the repository's root writes them into the page; a test holds them equal.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from leverproof.conduct.predictions import SAMPLES, SEED
from leverproof.physics.predictor.expectations import Conditions, Expectation, predict
from leverproof.reference_data import reference_data
from leverproof.sheet.loader import load_sheet

from . import (
    test_altitude_power,
    test_atmosphere,
    test_compression,
    test_corrections,
    test_models,
    test_output,
)
from .checks import PRINTED, Bound, Check, bound_disagreement, disagreement

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "physics.md"
ROWS: tuple[Check | Bound, ...] = (
    *test_atmosphere.CHECKS,
    *test_altitude_power.CHECKS,
    *test_compression.CHECKS,
    *test_corrections.CHECKS,
    *test_output.CHECKS,
    *test_models.BOUNDS,
)
SHEETS = ("corrie-18-early", "corrie-18-late")
SPLIT = "split_lever_advantage"
PARTS = {
    "": "power lost at equal pressure, hp",
    ".charge_temperature": "of which warmer charge, hp",
    ".filling": "of which poorer filling against back pressure, hp",
    ".pumping": "of which pumping against back pressure, hp",
    ".derate": "of which derate above the carburettor-air limit, hp",
    ".deck": "extra deck pressure with the levers together, inHg",
    ".procedure": "power lost by the procedure, stopping at limits, hp",
}


def values_table() -> str:
    """Every published value, what ours gives now, and the verdict."""
    head = "| document, place | quantity | kind | by | published | ours | difference | verdict |\n"
    return head + "| --- | --- | --- | --- | ---: | ---: | ---: | --- |\n" + "\n".join(map(_row, ROWS))


def _row(row: Check | Bound) -> str:
    ours = row.value()
    off = row.off(ours)
    if isinstance(row, Bound):
        wrong = bound_disagreement(row)
        verdict = f"misses by {_number(abs(off))}: {row.misses}" if row.misses else "inside"
    else:
        wrong = disagreement(row)
        verdict = f"within {_number(row.tolerance)}"
    if wrong:
        verdict = "wrong"
    kind = "" if row.status == PRINTED else row.status
    cells = (
        f"{row.document}; {row.place}",
        row.name,
        kind,
        row.by,
        row.printed(),
        f"{ours:.5g}",
        _number(off),
        verdict,
    )
    return "| " + " | ".join(cells) + " |"


def _number(value: float) -> str:
    """Two figures; differences below the seventh decimal of anything here are nought."""
    return "0" if abs(value) < 1e-7 else f"{value:.2g}"


def split_table() -> str:
    """The split-lever advantage of both shipped sheets at three heights, 220 kt: median and 5-95 % band."""
    heights = (10_000.0, 15_000.0, 20_000.0)
    lines = ["| sheet, height | " + " | ".join(PARTS.values()) + " | equal levers reach the pressure |"]
    lines.append("| --- |" + " ---: |" * (len(PARTS) + 1))
    for name in SHEETS:
        sheet = load_sheet(str(reference_data() / "sheets" / f"{name}.toml"))
        names = tuple(f"{SPLIT}{part}" for part in PARTS)
        air = Conditions(airspeed=220.0)
        found = predict(sheet, heights, conditions=air, samples=SAMPLES, seed=SEED, names=names).expectations
        for height in heights:
            cells = [_band(found[f"{SPLIT}{part}@{height:g}ft"]) for part in PARTS]
            share = 100.0 * found[f"{SPLIT}@{height:g}ft"].share
            lines.append(
                f"| {name}, {height:,.0f} ft | " + " | ".join(cells) + f" | {share:.0f} % of samples |"
            )
    return "\n".join(lines)


def _band(e: Expectation) -> str:
    if not math.isfinite(e.median):
        return "none"
    figures = 1 if np.max(np.abs([e.median, e.low, e.high])) < 20.0 else 0
    return f"{e.median:.{figures}f} ({e.low:.{figures}f} to {e.high:.{figures}f})"


PIECES = {"published values": values_table, "split-lever numbers": split_table}


def with_pieces(text: str) -> str:
    """The page with its generated parts as the code gives them now."""
    for name, make in PIECES.items():
        begin, end = f"<!-- begin {name} -->\n", f"\n<!-- end {name} -->"
        pattern = re.compile(re.escape(begin) + ".*?" + re.escape(end), re.S)
        assert pattern.search(text), f"the page has no place for {name}"
        made = begin + make() + end
        text = pattern.sub(lambda _, made=made: made, text)  # type: ignore[misc]
    return text


if __name__ == "__main__":
    PAGE.write_text(with_pieces(PAGE.read_text("utf-8")), "utf-8")
