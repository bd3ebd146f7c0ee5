"""The accepted versions in a real browser: whole, quiet, narrow enough, and deaf to what texts say."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from leverproof.baseline.drift import Past, Series, Spot, drift_of
from leverproof.baseline.model import Acceptance, Change, Origin, Sheet
from leverproof.report import baseline_page

from .devtools import Browser

HOSTILE = "</title></style><script>window.acted=1</script><img src=x onerror=window.acted=1>\" '&\u202e"
ORIGIN = Origin(
    "ab" * 32, "2026-03-01T09:30:00+00:00", "Corrie model", "3", "its own", "cd" * 32, "bench",
    Sheet("rill-9", "Rill-9", "1", "ef" * 32), "1", "1", "0.1.0", "0.05 s", "", "completed", 0, True,
)  # fmt: skip


def invented(says: str = "") -> Past:
    """Six versions of two cases: one number drifts out of its band, one stands, one is held from one side only."""
    log = []
    for version in range(1, 7):
        date = (datetime.datetime(2026, 3, version, 9, 30)).isoformat()
        changed = Change(True, readings=40, moved=3, cases=(f"case-a{says}",), first=f"brake power {says}")
        log.append(
            Acceptance(1, "leverproof", version, f"Ann{says}", f"step {version}{says}", replace(ORIGIN, date=date),
                       "", "", "", changed if version > 1 else None)
        )  # fmt: skip
    moving = tuple(Spot(v, 2000.0 + 30.0 * v, 1900.0, 2150.0, "pass") for v in range(1, 7))
    still = tuple(Spot(v, 30.0, 29.0, None, "pass") for v in range(3, 7))
    judged = (
        Series("judged", "a", f"case-a{says}", "power", "", "hp", f"take-off power{says}", moving,
               drift=drift_of(moving, 100.0)),
        Series("judged", "b", "case-b", "pressure", f"10,000 ft{says}", "inHg", "", still,
               (Spot(1, 12.0, None, None), Spot(2, 13.0, 10.0, 15.0)), None),
    )  # fmt: skip
    reading = Series("reading", "c", f"case-a{says}", "up, settled", "", "rpm", "", still, channel="engine_speed")
    return Past(f"held{says}", tuple(log), judged, (reading,))


def written(folder: Path, found: Past) -> Path:
    path = folder / "history.html"
    path.write_text(baseline_page.render(found), "utf-8")
    return path


def test_it_opens_narrow_and_wide_fetches_nothing_and_folds_by_keyboard(browser: Browser, tmp_path: Path) -> None:
    tab = browser.open(written(tmp_path, invented()))
    try:
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("[...document.querySelectorAll('nav a')].every(a => document.querySelector(a.hash))")
        assert tab.run("document.querySelectorAll('#drift svg').length") == 1
        assert tab.run("document.querySelectorAll('#drift .at.out').length") == 1
        for width in (1280, 390):
            tab.size(width, 800)
            assert tab.run("document.documentElement.scrollWidth") <= width
        tab.run("document.querySelector('#numbers summary').focus()")
        tab.key("Enter")
        assert tab.run("document.querySelector('#numbers details').open")
        said = tab.run("document.querySelector('#drift svg').getAttribute('aria-label')")
        assert "version 6: 2,180" in said and "out of its band" in said
        assert "Simulated engines only" in tab.run("document.querySelector('header').textContent")
    finally:
        tab.close()


def test_hostile_texts_stay_texts(browser: Browser, tmp_path: Path) -> None:
    tab = browser.open(written(tmp_path, invented(HOSTILE)))
    try:
        assert tab.run("window.acted === undefined")
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('script, img').length") == 0
        assert "window.acted=1" in tab.run("document.body.textContent")
        assert tab.run("document.title") == "Accepted versions"
    finally:
        tab.close()
