"""The page of equations carries the coefficients the program uses, no others; the Python example gives what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from leverproof.physics.predictor.coefficients import COEFFICIENTS

PAGE = Path(__file__).parents[4] / "docs" / "explanation" / "predictor-equations.md"
EXAMPLE = PAGE.parents[1] / "reference" / "predict.md"


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


def test_the_python_example_prints_what_the_page_says(capsys: pytest.CaptureFixture[str]) -> None:
    found = re.search(
        r"^```python\n(.*?)^```\n\n```text\n(.*?)^```$", EXAMPLE.read_text("utf-8"), re.M | re.S
    )
    assert found is not None
    exec(compile(found[1], EXAMPLE.name, "exec"), {})
    told, printed = found[2].splitlines(), capsys.readouterr().out.splitlines()
    assert printed[0] == told[0] == "solved"
    for mine, theirs in zip(printed[1:], told[1:], strict=True):
        assert mine.split()[1] == theirs.split()[1]
        assert float(mine.split()[0]) == pytest.approx(float(theirs.split()[0]), rel=1e-5)
