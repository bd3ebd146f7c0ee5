"""The page of physics says what the code gives now, and every ruling on it names a test that exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from .page import PAGE, PIECES, ROWS

ROOT = Path(__file__).parents[2]


def piece(name: str) -> str:
    found = re.search(f"<!-- begin {name} -->\n(.*?)\n<!-- end {name} -->", PAGE.read_text("utf-8"), re.S)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("name", sorted(PIECES))
def test_the_table_equals_what_the_code_gives_now(name: str) -> None:
    assert piece(name) == PIECES[name](), "python -m tests.published.page writes the page anew"


def test_the_table_has_enough_rows_and_none_is_wrong() -> None:
    lines = piece("published values").splitlines()[2:]
    assert len(lines) == len(ROWS) >= 60
    assert not any(line.endswith("| wrong |") for line in lines)


def test_every_ruling_names_a_test_or_case_that_exists() -> None:
    section = PAGE.read_text("utf-8").partition("## Rulings")[2].partition("\n## ")[0]
    rows = [
        line
        for line in section.splitlines()
        if line.startswith("| ") and not line.startswith(("| ruling", "| ---"))
    ]
    assert len(rows) >= 16
    cases = {path.stem for path in (ROOT / "reference_cases" / "cases").rglob("*.toml")}
    for row in rows:
        named = re.findall(r"`(test_\w+\.py::\w+|case [a-z0-9-]+)`", row)
        assert named, f"no test named: {row}"
        for name in named:
            if name.startswith("case "):
                assert name.removeprefix("case ") in cases, name
                continue
            file, _, function = name.partition("::")
            texts = [path.read_text("utf-8") for path in (ROOT / "tests").rglob(file)]
            assert any(re.search(rf"^def {function}\(", text, re.M) for text in texts), name
