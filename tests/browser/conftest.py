"""A headless browser for the whole session, and guides made for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from leverproof.record import read_record
from leverproof.report import html

from .devtools import Browser, Tab, find_chromium
from .guide_records import Shape, write_record


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A running Chromium; without one the tests fail, and say what is missing."""
    program = find_chromium()
    if program is None:
        pytest.fail("Chromium is needed to test the HTML guide and is not installed (Debian package: chromium)")
    running = Browser(program, tmp_path_factory.mktemp("profile"))
    yield running
    running.close()


@pytest.fixture(scope="session")
def guide(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Shape], Path]:
    """Writes the guide of an invented record of a shape, once each."""
    made: dict[Shape, Path] = {}

    def write(shape: Shape) -> Path:
        if shape not in made:
            folder = tmp_path_factory.mktemp("guide")
            page = folder / "guide.html"
            page.write_text(html.render(read_record(write_record(folder / "record", shape))), "utf-8")
            made[shape] = page
        return made[shape]

    return write


@pytest.fixture
def tab(browser: Browser, guide: Callable[[Shape], Path]) -> Iterator[Tab]:
    """The guide of a small record, in a new tab."""
    opened = browser.open(guide(Shape(cases=8)))
    yield opened
    opened.close()
