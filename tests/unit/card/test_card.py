"""What a card says: what can be seen before anything else, computed; refusals with their reason."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from leverproof import CAUTION
from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import WHATS
from leverproof.conduct.airframe import HAND_READING
from leverproof.conduct.card import Card, CardStep, card_of
from leverproof.conduct.card_sight import HP
from leverproof.conduct.model import PlannedStep
from leverproof.judge import noted
from leverproof.report import card_html, card_table, card_text
from leverproof.report.card_steps import step_words
from leverproof.report.card_words import sections
from leverproof.sheet.loader import load_sheet, shipped_sheets

CATALOGUE = load_catalogue()
Printer = Callable[..., Card]
SHEETS = [item.name.removesuffix(".toml") for item in shipped_sheets()]


def words(card: Card) -> str:
    return " ".join(card_text.render(card).split())


def test_what_can_be_seen_comes_first_and_is_computed(printed: Printer) -> None:
    card = printed("split-lever-advantage")
    first = sections(card)[0]
    assert first.title == "What this method can see" and first.boxed
    told = card.level_speed
    assert told.sees == pytest.approx(math.sqrt(2.0) * HAND_READING * told.slope)
    assert f"tell {told.sees:.0f} hp apart" in first.lines[0]
    assert "you can see 100 hp of each engine in level speed, not 50" in first.lines[0]
    assert "turbo speed, carburettor air temperature and exhaust back pressure" in first.lines[0]


def test_another_aeroplane_sees_another_power(printed: Printer) -> None:
    card = printed("split-lever-advantage")
    half = replace(card.sheet.data["airframe.engines"], value=1.0)
    sheet = replace(card.sheet, data={**card.sheet.data, "airframe.engines": half})
    other = card_of(card.case, sheet)
    assert other.level_speed.reason or other.level_speed.sees != pytest.approx(card.level_speed.sees, rel=0.1)
    bare = replace(card.sheet, data={k: v for k, v in card.sheet.data.items() if not k.startswith("airframe.")})
    assert "level speed tells of it is not known: the sheet does not give airframe" in words(card_of(card.case, bare))


def test_divisions_resolve_what_is_judged(printed: Printer) -> None:
    for case in ("split-lever-advantage", "throttle-sweep", "shutter-fixed-pressure", "idle-speed"):
        for sight in printed(case).sights:
            if sight.sees is not None and sight.effect is not None and sight.judgement.what != "level_speed":
                assert sight.sees < sight.effect, sight.judgement.id
    card = printed("throttle-sweep")
    # least step 50 rpm; a difference of two readings of division d is known to sqrt(2) d/sqrt(3)
    assert card.divisions is not None and card.divisions["turbo_speed"] == 20.0
    assert card.sights[1].sees == pytest.approx(math.sqrt(2.0 / 3.0) * 20.0)


def test_the_day_the_altimeter_the_weight_and_both_airspeeds_are_there(printed: Printer) -> None:
    text = words(printed("shutter-fixed-pressure"))
    for told in (
        "standard day, wind calm", "1013.25 hPa (29.92 inHg)", "95,000 lb", "17,000 ft", "-18.7 degC",
        "200 kt true, which is 154 kt indicated", "Stop before turbo speed passes 18,250 rpm",
        "run shut", "intercooler shutter shut (0 %)", "49.4 inHg", "Write the row 'settled'",
    ):  # fmt: skip
        assert told in text, told


def test_sweep_points_become_rows_and_off_points_follow_the_seed(printed: Printer) -> None:
    card = printed("split-lever-advantage")
    assert card.rows[0].variable == 10_000.0
    assert len(card.rows) == 4 * 4
    other = printed("split-lever-advantage", seed=2)
    assert {row.variable for row in card.rows} != {row.variable for row in other.rows}


@pytest.mark.parametrize(
    ("case", "reason"),
    [
        ("determinism", "bit for bit"),
        ("half-grid-step", "time step"),
        ("engines-independent", "every moment"),
        ("pause-in-the-middle", "nobody flies the same thing twice"),
        ("climb-power", "no gauge shows power; two level speeds flown and read by hand tell"),
        ("gear-crossing", "this needs geared_two_speed"),
        ("ram-at-the-deck", "cannot fly more slowly"),
    ],
)
def test_what_cannot_be_flown_by_hand_says_why(printed: Printer, case: str, reason: str) -> None:
    assert reason in printed(case).refused


def test_a_torque_gauge_stands_in_for_power(printed: Printer) -> None:
    card = printed("climb-power", torque=True)
    assert not card.refused and "torque" in card.readings and card.divisions is not None
    sight = card.sights[0]
    assert sight.sees == pytest.approx(HP * 2640.0 * card.divisions["torque"] / math.sqrt(3.0))
    assert sight.effect is not None and sight.sees <= sight.effect / 2.0


def test_a_case_of_histories_is_flown_with_a_recording(printed: Printer) -> None:
    card = printed("turbo-lag")
    assert not card.refused and not card.rows
    assert "Nothing of this case can be judged from numbers written down" in words(card)
    assert card_table.blank_table(card) is None


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_case_is_a_card_or_a_reason(printed: Printer, sheet: str) -> None:
    seen = 0
    for case in CATALOGUE.cases:
        card = printed(case.id, sheet)
        if card.refused:
            assert len(card.refused) > 10
            continue
        seen += 1
        assert "nan" not in card_text.render(card).casefold().replace("nano", "")
        assert case.caution.split(";")[0] in words(card)
        if card.rows:
            made = list(csv.reader(x for x in io.StringIO(card_table.template(card, command="c")) if x[0] != "#"))
            assert len(made) == len(card.rows) + 2 and len({len(row) for row in made}) == 1
    assert seen > 5


class Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.links += [v or "" for k, v in attrs if k in ("src", "href", "action", "style") or k.startswith("on")]


def test_the_page_is_self_contained_and_hostile_names_are_text(printed: Printer) -> None:
    card = printed("split-lever-advantage")
    hostile = '<script>alert(1)</script>"><img src=x onerror=alert(2)>\x1b[31m'
    case = replace(card.case, title=hostile, question=hostile, caution=hostile)
    sheet = replace(card.sheet, title=hostile, revision=hostile)
    text = card_html.render([replace(card, case=case, sheet=sheet), card])
    page = Page()
    page.feed(text)
    assert page.tags & {"script", "img", "iframe", "link", "object"} == set() and page.links == []
    assert "\x1b" not in text and "&lt;script&gt;" in text and "url(" not in text
    assert re.search(r"@page wide", text) and "Content-Security-Policy" in text
    assert "\x1b" not in card_text.render(replace(card, case=case, sheet=sheet))


def test_the_table_to_fill_in_comes_last_with_the_caution_beside_it(printed: Printer) -> None:
    card = printed("shutter-fixed-pressure")
    for shown in (card_html.render([card]), words(card)):
        places = [shown.index(part) for part in ("What is judged", "Table to fill in", "Caution: ", CAUTION[:20])]
        assert places == sorted(places)
    assert "49.4 inHg, within 0.3 inHg, in at most 120 s" in words(card)
    assert ".fill + .note { page: wide; }" in card_html.render([card])


def test_cards_of_one_sheet_do_not_mention_gauges_it_has_not(printed: Printer) -> None:
    card = printed("cut-off-flight", "rill-6")
    assert "turbo_speed" not in card.readings
    assert load_sheet("rill-6").word("hardware.arrangement") == "unsupercharged"


def test_every_kind_of_judgement_is_told_apart() -> None:
    assert set(noted._REASONS) | noted.STEADY == set(WHATS)
    assert not set(noted._REASONS) & noted.STEADY


def test_a_ratio_asks_for_divisions_too(printed: Printer) -> None:
    card = printed("path-of-the-levers")
    told = [s for s in card.sights if s.sees is not None and s.effect is not None]
    assert told and all(s.sees is not None and s.effect is not None and s.sees < s.effect for s in told)
    assert card.divisions is not None and card.divisions["manifold_pressure"] < 0.5


def test_a_pause_has_its_line() -> None:
    step = CardStep((PlannedStep("pause", duration=18_000),), (math.nan,))
    assert step_words(step, 2) == "Pause the simulation for 0.5 s by your watch, touch nothing, and let it go on."
