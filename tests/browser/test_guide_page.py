"""The test guide in a real browser: opening, folding, zooming, keys, printing, hostile texts, many cases."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from leverproof.record import read_record
from leverproof.report import html

from .devtools import Browser, Tab
from .guide_records import Shape, write_record

FIRST = ".part:not(.quiet) .live"
HOSTILE = (
    "</script><script>window.taken=1</script><img src='http://example.invalid/x' onerror=window.taken=2>"
    "--><svg/onload=window.taken=3>\"'`&lt; {{7*7}} \u202eolleh\u2066 \x1b[31m ]]> "
)


def see(tab: Tab, selector: str = FIRST) -> None:
    """Scrolls to the first such place and waits for its plot."""
    tab.run(f"document.querySelector('{selector}').scrollIntoView({{behavior: 'instant', block: 'center'}})")
    tab.until(f"!!document.querySelector('{selector} .uplot')")


def view(tab: Tab) -> list[float]:
    return [float(end) for end in str(tab.run(f"document.querySelector('{FIRST}').dataset.view")).split()]


def test_it_opens_complete_and_asks_nothing_of_the_network(tab: Tab) -> None:
    assert "Corrie-18 model" in tab.run("document.querySelector('h1').textContent")
    heads = tab.run("[...document.querySelectorAll('main h2')].map(h => h.textContent)")
    assert heads[:3] == ["What was tested", "What may be claimed", "Verdicts"]
    assert heads[3:5] == ["The ladder of subjects", "Open findings"]
    told = tab.run("document.querySelector('#tested').textContent")
    for word in ("Corrie-18 on the bench", "Corrie-18 early", "2026-03-01", "Linux x86_64", "leverproof 0."):
        assert word in told
    tab.run("document.querySelectorAll('details').forEach(d => { d.open = true })")
    see(tab)
    assert tab.requests == []
    assert tab.complaints == []


def test_what_failed_stands_open_the_furthest_first_and_what_passed_is_folded(tab: Tab) -> None:
    opened = tab.run("[...document.querySelectorAll('.part')].filter(p => p.open).map(p => p.id)")
    folded = tab.run("[...document.querySelectorAll('.part')].filter(p => !p.open).length")
    assert opened == ["case-case-4", "case-case-0"] and folded == 6
    tab.run("document.querySelector('.part.quiet summary').click()")
    assert tab.run("document.querySelector('.part.quiet').open") is True
    first = tab.run("document.querySelector('.part').innerText")
    for words in ("Fails: found 51.10 inHg, expected 52 ± 0.5 inHg", "4.4 times the doubt of 0.09 inHg",
                  "Pilots learn the wrong order.", "step study", "the sheet", "a gauge's width",
                  "leverproof run --stand 'stands/my corrie.toml' --case case-4 --seed 7"):  # fmt: skip
        assert words in first, words


def test_a_link_to_a_folded_case_unfolds_it(tab: Tab) -> None:
    tab.run("location.hash = '#case-case-5'")
    tab.until("document.getElementById('case-case-5').open")
    assert tab.run("document.activeElement.tagName") == "SUMMARY"


def test_plots_are_made_only_when_they_are_seen(tab: Tab) -> None:
    assert tab.run("document.querySelectorAll('.uplot').length") == 0
    see(tab)
    assert tab.run("document.querySelectorAll('.live.made, .live[data-made]').length") < 4
    still = f"document.querySelector('{FIRST}').parentElement.querySelector('.still-plot')"
    assert tab.run(f"getComputedStyle({still}).display") == "none"


def test_dragging_and_buttons_zoom(tab: Tab) -> None:
    see(tab)
    x, y, width = tab.run(f"(() => {{ const r = document.querySelector('{FIRST} .u-over').getBoundingClientRect();"
                          "return [r.left, r.top + 60, r.width] })()")  # fmt: skip
    tab.drag((x + width * 0.25, y), (x + width * 0.75, y))
    tab.until(f"!!document.querySelector('{FIRST}').dataset.view")
    low, high = view(tab)
    assert 4.0 < low < 6.0 and 14.0 < high < 16.0
    tab.run(f"[...document.querySelectorAll('{FIRST} button')].find(b => b.textContent === 'Whole run').click()")
    assert view(tab) == [0.0, 19.95]


def test_hovering_tells_the_values_and_runs_can_be_hidden(tab: Tab) -> None:
    see(tab)
    x, y, width = tab.run(f"(() => {{ const r = document.querySelector('{FIRST} .u-over').getBoundingClientRect();"
                          "return [r.left, r.top + 60, r.width] })()")  # fmt: skip
    tab.mouse("mouseMoved", x + width * 0.95, y)
    told = f"document.querySelector('{FIRST} output').textContent"
    tab.until(f"/at 1[89]\\.\\d+ s/.test({told})")
    text = tab.run(told)
    found = re.search(r"throttle first ([\d.]+) inHg", text)
    assert found and 46.0 < float(found.group(1)) < 49.0
    tab.run(f"document.querySelector('{FIRST} input[type=checkbox]').click()")
    assert "throttle first" not in tab.run(told)


def test_every_control_is_reached_and_worked_by_keys(tab: Tab) -> None:
    see(tab)
    tab.run("document.querySelector('.part summary').focus({preventScroll: true})")
    reached = []
    for _ in range(10):
        tab.key("Tab")
        named = "(e.getAttribute('aria-label') || e.textContent).slice(0, 20)"
        reached.append(tab.run(f"(e => e.tagName + ' ' + {named})(document.activeElement)"))
        if reached[-1].startswith("DIV Plot."):
            break
    assert reached[0].startswith("SELECT Channel") and reached[-1].startswith("DIV Plot.")
    told = f"document.querySelector('{FIRST} output').textContent"
    before = tab.run(told)
    tab.key("ArrowRight")
    assert tab.run(told) != before
    tab.key("+")
    low, high = view(tab)
    assert high - low < 11.0
    tab.key("ArrowRight", shift=True)
    assert view(tab)[0] > low
    tab.key("0")
    assert view(tab) == [0.0, 19.95]
    tab.run("document.querySelector('.part summary').focus()")
    tab.key("Enter")
    assert tab.run("document.querySelector('.part').open") is False


def test_a_screen_reader_finds_headings_landmarks_names_and_tables(tab: Tab) -> None:
    for landmark in ("header", "nav[aria-label]", "main", "footer"):
        assert tab.run(f"document.querySelectorAll('body > {landmark}').length") == 1
    levels = tab.run("[...document.querySelectorAll('h1,h2,h3,h4,h5')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1 and all(b - a <= 1 for a, b in pairwise(levels))
    assert tab.run("[...document.querySelectorAll('table')].every(t => t.caption && t.caption.textContent)")
    assert tab.run("[...document.querySelectorAll('svg.still')].every(s => s.querySelector('title').textContent)")
    for part in range(tab.run("document.querySelectorAll('.part').length")):
        place = f"document.querySelectorAll('.part')[{part}]"
        rows = f"{place}.querySelectorAll('table.readings tbody tr').length"
        assert tab.run(f"!{place}.querySelector('.live') || {rows} > 0")
    assert tab.run("document.querySelector('a').getAttribute('href')") == "#findings"
    see(tab)
    tree = tab.call("Accessibility.getFullAXTree")["nodes"]
    unnamed = [n for n in tree if n.get("role", {}).get("value") in ("button", "checkbox", "combobox", "link")
               and not n.get("ignored") and not n.get("name", {}).get("value")]  # fmt: skip
    assert unnamed == []


def test_an_unscrolled_page_prints_every_open_finding_as_vectors(tab: Tab) -> None:
    assert tab.run("document.querySelectorAll('.uplot').length") == 0
    tab.media("print")
    shown = tab.run("[...document.querySelectorAll('.finding')].map(f => [...f.querySelectorAll('svg.still')]"
                    ".filter(s => s.getBoundingClientRect().height > 50).length)")  # fmt: skip
    assert shown == [2, 2, 3]
    assert tab.run("[...document.querySelectorAll('.live, nav')].every(p => getComputedStyle(p).display === 'none')")
    tab.media()
    see(tab)
    printed = tab.pdf()
    assert printed.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", printed)) > 3
    assert not re.search(rb"/Subtype\s*/Image", printed)


def test_a_plot_that_was_looked_at_prints_its_still_figure_too(tab: Tab) -> None:
    still = "document.querySelector('.part:not(.quiet) figure .still-plot').getBoundingClientRect().height"
    see(tab)
    assert tab.run(still) == 0
    tab.media("print")
    assert tab.run(still) > 50


def test_a_number_in_a_table_stays_on_one_line_with_its_unit(tab: Tab) -> None:
    cells = "[...document.querySelectorAll('table.summary tbody td.n')]"
    assert set(tab.run(f"{cells}.map(c => getComputedStyle(c).whiteSpace)")) == {"nowrap"}


def test_it_follows_a_dark_page_and_never_speaks_by_colour_alone(tab: Tab) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    tab.media(prefers_color_scheme="light")
    light = tab.run(ground)
    tab.media(prefers_color_scheme="dark")
    assert tab.run(ground) != light
    shapes = tab.run("[...document.querySelectorAll('symbol')].map(s => s.innerHTML)")
    assert len(set(shapes)) == len(shapes) == 12
    assert tab.run("[...document.querySelectorAll('.g')].every(g => g.nextElementSibling.className === 'unseen'"
                   " && g.nextElementSibling.textContent.length > 3)")  # fmt: skip
    runs = tab.run("[...document.querySelectorAll('.finding .key li')].slice(-3).map(l => l.textContent)")
    assert runs == ["throttle first", "levers together", "levers together less throttle first"]
    dashes = "[...document.querySelectorAll('.finding .key path')].slice(-3)"
    assert tab.run(f"{dashes}.map(p => getComputedStyle(p).strokeDasharray)") == ["none", "7px, 3px", "7px, 3px"]


def test_it_fits_a_narrow_screen(tab: Tab) -> None:
    tab.size(390, 800)
    assert tab.run("document.documentElement.scrollWidth") == 390
    see(tab)
    assert tab.run("document.documentElement.scrollWidth") == 390


def test_hostile_texts_stay_texts(browser: Browser, guide: Callable[[Shape], Path]) -> None:
    page = guide(Shape(cases=5, says=HOSTILE + "long " + "x" * 300))
    tab = browser.open(page)
    try:
        tab.run("document.querySelectorAll('details').forEach(d => { d.open = true })")
        see(tab)
        see(tab, ".quiet .live")
        assert tab.run("window.taken === undefined")
        assert tab.requests == [] and tab.complaints == []
        assert tab.run("document.querySelectorAll('img').length") == 0
        assert tab.run("document.querySelectorAll('script:not([type])').length") == 1
        assert tab.run("[...document.querySelectorAll('script')].every(s => s.id.startsWith('data-') || !s.id)")
        assert "<script>window.taken=1</script>" in tab.run("document.querySelector('h1').textContent")
        assert not re.search("[\u202a-\u202e\u2066-\u2069\x1b]", tab.run("document.body.innerText"))
        assert tab.run("document.documentElement.scrollWidth") <= 1280
        tab.run("document.querySelector('h1').innerHTML = '<img src=x onerror=window.taken=9>'")
        tab.run("document.body.append(Object.assign(document.createElement('script'), {text: 'window.taken=9'}))")
        assert tab.run("window.taken === undefined"), "the page's own policy must stop a script that got in"
    finally:
        tab.close()


def test_three_hundred_cases_open_folded_and_ready(browser: Browser, guide: Callable[[Shape], Path]) -> None:
    tab = browser.open(guide(Shape(cases=300, runs=1, samples=300, open_every=60)))
    try:
        assert tab.run("document.querySelectorAll('.part').length") == 300
        assert tab.run("[...document.querySelectorAll('.part')].filter(p => p.open).length") == 5
        assert tab.run("document.querySelectorAll('.uplot').length") == 0
        assert tab.run("performance.getEntriesByName('first-contentful-paint').length") == 1
        see(tab)
        assert tab.complaints == []
    finally:
        tab.close()


def test_the_command_writes_the_same_page(tmp_path: Path) -> None:
    from leverproof.cli.main import main

    record = write_record(tmp_path / "record", Shape(cases=2))
    assert main(["report", str(record), "--format", "html", "--out", str(tmp_path / "guide.html")]) == 0
    assert (tmp_path / "guide.html").read_text("utf-8") == html.render(read_record(record))
