"""The comparison of several records in a real browser: whole, quiet, narrow enough, and deaf to what texts say."""

from __future__ import annotations

from pathlib import Path

from leverproof.record import read_record
from leverproof.report.comparison import page
from leverproof.report.comparison.fold import compare

from .devtools import Browser
from .guide_records import Shape, write_record

HOSTILE = "</title></style><script>window.acted=1</script><img src=x onerror=window.acted=1>\" '&\u202e"


def written(folder: Path, *shapes: Shape) -> Path:
    """The page of records of these shapes."""
    records = [read_record(write_record(folder / str(n), shape)) for n, shape in enumerate(shapes)]
    path = folder / "comparison.html"
    path.write_text(page.render(compare(records)), "utf-8")
    return path


def test_it_opens_narrow_and_wide_fetches_nothing_and_folds_by_keyboard(
    browser: Browser, tmp_path: Path
) -> None:
    tab = browser.open(
        written(tmp_path, Shape(cases=6, samples=150), Shape(cases=5, samples=150, open_every=2))
    )
    try:
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('nav a').length") == 5
        assert tab.run("[...document.querySelectorAll('nav a')].every(a => document.querySelector(a.hash))")
        for width in (1280, 390):
            tab.size(width, 800)
            assert tab.run("document.documentElement.scrollWidth") <= width
        tab.run("document.querySelector('#judgements summary').focus()")
        tab.key("Enter")
        assert tab.run("document.querySelector('#judgements details').open")
        assert tab.run("document.querySelector('#subjects td').textContent").startswith(("pass: ", "fail: "))
    finally:
        tab.close()


def test_hostile_texts_stay_texts(browser: Browser, tmp_path: Path) -> None:
    shape = Shape(cases=4, samples=150, says=HOSTILE)
    tab = browser.open(written(tmp_path, shape, shape, Shape(cases=4, samples=150)))
    try:
        assert tab.run("window.acted === undefined")
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('script, img').length") == 0
        assert "window.acted=1" in tab.run("document.body.textContent")
        assert tab.run("document.title") == "Models side by side"
    finally:
        tab.close()
