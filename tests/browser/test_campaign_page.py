"""The summary of a campaign in a real browser: whole, quiet, narrow enough, readable, deaf to what texts say."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.campaign.summary import Summary, summarise
from leverproof.report import campaign_page

from .devtools import Browser, Tab

ROWS = Path(__file__).resolve().parents[1] / "unit" / "campaign" / "campaign_rows.py"
CONTRAST = """
(() => {
  const light = c => { const [r, g, b] = c.match(/[\\d.]+/g).map(Number).map(v => v / 255)
    .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126*r + 0.7152*g + 0.0722*b };
  const worst = [];
  for (const group of document.querySelectorAll('.heat g')) {
    const below = light(getComputedStyle(group.querySelector('path')).fill);
    for (const text of group.querySelectorAll('text')) {
      const above = light(getComputedStyle(text).fill);
      worst.push((Math.max(above, below) + 0.05) / (Math.min(above, below) + 0.05));
    }
  }
  return worst.length > 40 ? Math.min(...worst) : 0;
})()
"""


@pytest.fixture(scope="module")
def rows() -> ModuleType:
    """The invented outcomes that the other tests of summaries use."""
    spec = importlib.util.spec_from_file_location("campaign_rows", ROWS)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["campaign_rows"] = module
    spec.loader.exec_module(module)
    return module


def shown(browser: Browser, folder: Path, found: Summary) -> Tab:
    path = folder / "summary.html"
    path.write_text(campaign_page.render(found), "utf-8")
    return browser.open(path)


def test_it_opens_narrow_and_wide_fetches_nothing_and_folds_by_keyboard(
    browser: Browser, tmp_path: Path, rows: ModuleType
) -> None:
    tab = shown(browser, tmp_path, summarise(rows.campaign(samples=30), title="Altitudes"))
    try:
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('nav a').length") == 5
        assert tab.run("[...document.querySelectorAll('nav a')].every(a => document.querySelector(a.hash))")
        for width in (1280, 390):
            tab.size(width, 800)
            assert tab.run("document.documentElement.scrollWidth") <= width
        assert tab.run("document.querySelectorAll('.heat').length") == 4
        tab.run("document.querySelector('figure summary').focus()")
        tab.key("Enter")
        assert tab.run("document.querySelector('figure details').open")
        seen = "getComputedStyle(document.querySelector('.caution')).display !== 'none'"
        assert tab.run(seen) and "real aircraft" in tab.run("document.querySelector('.caution').textContent")
        tab.media("print")
        assert tab.run(seen)
        assert len(tab.pdf()) > 10_000
    finally:
        tab.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_numbers_of_a_heat_map_stand_out_from_every_shade(
    scheme: str, browser: Browser, tmp_path: Path, rows: ModuleType
) -> None:
    tab = shown(browser, tmp_path, summarise(rows.campaign(samples=3), title="Altitudes"))
    try:
        tab.media("", prefers_color_scheme=scheme)
        assert tab.run(CONTRAST) >= 4.5
    finally:
        tab.close()


def test_the_numbers_of_a_heat_map_stay_inside_their_cells(browser: Browser, tmp_path: Path, rows: ModuleType) -> None:
    tab = shown(browser, tmp_path, summarise(rows.campaign(samples=30), title="Altitudes"))
    try:
        inside = """[...document.querySelectorAll('.heat g')].every(g => {
            const cell = g.querySelector('path').getBBox();
            return [...g.querySelectorAll('text')].every(t => { const b = t.getBBox();
            return b.x >= cell.x - 1 && b.x + b.width <= cell.x + cell.width + 1 }) })"""
        assert tab.run(inside)
    finally:
        tab.close()


def test_hostile_texts_stay_texts(browser: Browser, tmp_path: Path, rows: ModuleType) -> None:
    bad = rows.HOSTILE
    names = dict.fromkeys(("model", "case", "subject", "point", "judgement", "unit", "trouble"), bad)
    found = summarise([replace(row, **names) for row in rows.campaign()], title=bad, notes=[bad])
    tab = shown(browser, tmp_path, found)
    try:
        assert tab.run("window.acted === undefined")
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('script, img').length") == 0
        assert "window.acted=1" in tab.run("document.body.textContent")
        tab.size(390, 800)
        assert tab.run("document.documentElement.scrollWidth") <= 390
    finally:
        tab.close()
