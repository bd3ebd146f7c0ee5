"""The page of equations carries the coefficients the program uses, no others."""

from __future__ import annotations

import re
from pathlib import Path

from leverproof.physics.predictor.coefficients import COEFFICIENTS

PAGE = Path(__file__).parents[4] / "docs" / "explanation" / "predictor-equations.md"


def test_the_page_lists_every_coefficient_with_its_numbers() -> None:
    rows = re.findall(
        r"^\| `(\w+)` \| (\w+) \| (\S+) \| (\S+) \| (\S+) \| (.+) \|$", PAGE.read_text("utf-8"), re.M
    )
    found = {name: (shape, float(a), float(b), unit, source) for name, shape, a, b, unit, source in rows}
    assert found == {c.name: (c.shape, c.a, c.b, c.unit, c.source) for c in COEFFICIENTS.values()}


def test_every_coefficient_is_used_in_an_equation_of_the_page() -> None:
    equations = PAGE.read_text("utf-8").partition("## 8.")[0]
    unused = [name for name in COEFFICIENTS if f"`{name}`" not in equations]
    assert unused == []
