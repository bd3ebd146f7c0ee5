"""The summary of a campaign in every form: the same cells, the caution, nothing that acts, never too long."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from dataclasses import replace
from itertools import groupby

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from leverproof import CAUTION
from leverproof.campaign.model import Outcome
from leverproof.campaign.shares import share
from leverproof.campaign.summary import Summary, summarise
from leverproof.campaign.surfaces import Mean, Surface
from leverproof.errors import ReproducibilityError
from leverproof.judge.model import VERDICTS
from leverproof.report import campaign_json, campaign_page, campaign_text
from leverproof.report.campaign_plot import SHADES, heat_map, interval_drawing, shade
from leverproof.report.campaign_tables import chart_table, charts, curve_table, curves
from leverproof.report.campaign_words import percent
from leverproof.schema import check

from .campaign_rows import ALTITUDES, HOSTILE, SPEEDS, campaign, row

FORMS: dict[str, Callable[[Summary], str]] = {
    "text": campaign_text.render,
    "markdown": campaign_text.markdown,
    "json": campaign_json.render,
    "page": campaign_page.render,
}


def told(samples: int = 30) -> Summary:
    return summarise(campaign(samples=samples), title="Altitudes", plan="0123456789abcdef" * 4, notes=("one note",))


@pytest.mark.parametrize("form", FORMS)
def test_every_form_says_the_caution_the_result_and_the_notes(form: str) -> None:
    text = " ".join(FORMS[form](told()).split())
    assert CAUTION in text and "Altitudes" in text and "one note" in text
    if form != "json":
        assert "required outcomes pass" in text and "95 % interval" in text
        for words in ("Corrie", "SIGKILL", "filling", "no number", "2,602 rpm", "15,000 ft", "Self-referential"):
            assert words in text, words


@pytest.mark.parametrize("form", FORMS)
def test_every_form_is_the_same_in_any_order_and_of_nothing_at_all(form: str) -> None:
    items = [list(group) for _, group in groupby(campaign(samples=12), key=lambda one: one.item)]
    straight = FORMS[form](summarise(one for item in items for one in item))
    random.Random(5).shuffle(items)
    assert FORMS[form](summarise(one for item in items for one in item)) == straight
    assert CAUTION in " ".join(FORMS[form](summarise([])).split())


@pytest.mark.parametrize("samples", [0, 30])
def test_the_json_fits_its_schema(samples: int) -> None:
    document = json.loads(campaign_json.render(told(samples)))
    check(document, "campaign-summary", "summary.json")
    assert document["failed"] is True and document["whole"]["share"]["judged"] == 12 * (samples + 1)
    check(json.loads(campaign_json.render(summarise([]))), "campaign-summary", "summary.json")


def test_numbers_that_are_none_are_told_as_words() -> None:
    odd = summarise([row(found=float("nan"), margin=float("-inf"), expected=float("inf"), verdict="fail")])
    document = json.loads(campaign_json.render(odd))
    check(document, "campaign-summary", "summary.json")
    assert (document["worst"][0]["found"], document["worst"][0]["margin"]) == ("NaN", "-Infinity")
    assert "not a finite number" in campaign_text.render(odd) and "beyond all" in campaign_text.render(odd)


def test_hostile_texts_stay_texts() -> None:
    names = dict.fromkeys(("model", "sheet", "case", "subject", "point", "judgement", "unit", "trouble"), HOSTILE)
    rows = [replace(one, **names, verdict="error") for one in campaign(samples=12)]  # type: ignore[arg-type]
    found = summarise(rows, title=HOSTILE, notes=(HOSTILE,))
    page = campaign_page.render(found)
    assert "<script" not in page and "<img" not in page and "\u202e" not in page
    assert set(re.findall(r"<(\w+)", page)) <= {
        "html", "head", "body", "meta", "title", "style", "svg", "symbol", "path", "circle", "use", "g", "text",
        "span", "header", "footer", "main", "nav", "section", "h1", "h2", "p", "ul", "li", "a", "div", "table",
        "caption", "thead", "tbody", "tr", "th", "td", "details", "summary", "figure", "figcaption", "br",
    }  # fmt: skip
    for text in (campaign_text.render(found), campaign_text.markdown(found)):
        assert "\x1b" not in text and "\u202e" not in text
    assert "<script" not in campaign_text.markdown(found).replace("\\<", "")
    assert json.loads(campaign_json.render(found))["title"] == HOSTILE


def test_the_page_needs_nothing_else() -> None:
    page = campaign_page.render(told())
    assert "default-src 'none'" in page
    assert not re.search(r"https?://|src=|@import|url\(", page)


def test_markdown_is_cut_where_it_is_too_long() -> None:
    whole = campaign_text.markdown(told())
    cut = campaign_text.markdown(told(), largest=3000)
    assert len(cut.encode()) <= 3000 < len(whole.encode()) and "Cut here" in cut and CAUTION in cut


def test_many_cases_leave_a_page_of_bounded_size() -> None:
    rows = [
        row(case=f"case-{n:04d}", judgement=f"j{n % 3}", margin=0.1 * (n % 7), found=float(n + at), trouble=f"why {n}",
            surroundings={"pressure_altitude": 5000.0 * at}, item=f"{n:016x}{at:016x}")
        for n in range(900) for at in range(3)
    ]  # fmt: skip
    found = summarise(rows)
    assert len(campaign_page.render(found)) < 1_500_000
    assert "more are in the JSON report" in campaign_page.render(found)
    assert "further figures are in the JSON report" in campaign_text.render(found)


def test_a_surface_and_its_table_show_the_same_numbers() -> None:
    surface = charts(told(0))[0]
    table = chart_table(surface)
    assert table.heads[1:] == ("2,002 rpm", "2,202 rpm", "2,402 rpm", "2,602 rpm")
    assert [r[0] for r in table.rows] == [f"{altitude:,.0f} ft" for altitude in reversed(ALTITUDES)]
    drawn = heat_map(surface)
    for line in table.rows:
        for cell in line[1:]:
            assert f">{cell.split(' ')[0].rstrip(',')}<" in drawn
    assert drawn.count("<g>") == len(ALTITUDES) * len(SPEEDS)


def test_what_does_not_pass_is_marked_in_the_drawing_and_an_empty_place_is_open() -> None:
    cells = (Mean(0, 0, 1.0, 1.0, 1.0, 2, 1), Mean(1, 1, 3.0, 2.0, 4.0, 2, 0))
    surface = Surface("M", "s", "c", "judgement", "j", "value", "hp", (0.0, 5000.0), (2000.0, 2600.0), cells)
    drawn = heat_map(surface)
    assert drawn.count('class="edge"') == 1 and drawn.count('class="gap"') == 2
    assert "1, 1 does not pass" in drawn and "2 to 4" in drawn
    assert [r[1] for r in chart_table(surface).rows] == ["", "1, 1 does not pass"]


def test_curves_of_several_models_share_a_figure() -> None:
    figures = {(figure.title): figure for figure in curves(told(0))}
    figure = figures["rpm-chart: found by power (value)"]
    assert [surface.model for surface in figure.curves] == ["Corrie", "Rill"]
    assert curve_table(figure).heads == ("pressure altitude", "Corrie", "Rill")
    many = summarise(campaign(models=tuple(f"M{n}" for n in range(8))))
    assert [len(f.curves) for f in curves(many) if "power" in f.title] == [6, 2]


def test_shades_keep_their_order_and_their_ends() -> None:
    assert [shade(v, 0.0, 7.0) for v in (0.0, 0.9, 1.0, 6.9, 7.0)] == [0, 0, 1, 6, 6] and SHADES == 7
    assert shade(3.0, 3.0, 3.0) == 0


def test_an_interval_is_drawn_where_there_is_one() -> None:
    assert interval_drawing(share(0, 0)) == ""
    assert interval_drawing(share(5, 10)).count("<path") == 2


def test_a_share_that_is_not_whole_is_never_rounded_to_it() -> None:
    assert [percent(v) for v in (None, 0.0, 1e-5, 0.5, 0.99999, 1.0)] == [
        "-", "0.0 %", "< 0.1 %", "50.0 %", "> 99.9 %", "100.0 %"
    ]  # fmt: skip


NUMBERS = st.one_of(st.none(), st.floats(), st.sampled_from([0.0, 1.0, 1e308, -1e308, 5e-324]))
WORDS = st.text(max_size=12)
TABLE = st.dictionaries(
    st.sampled_from(["pressure_altitude", "temperature_offset", "relative_humidity", "true_airspeed", "engine_speed",
                     "brake_power", "manifold_pressure", "odd"]),
    st.floats(), max_size=6,
)  # fmt: skip
OUTCOMES = st.builds(
    Outcome, item=st.sampled_from(["a" * 20, "b" * 20, "c" * 20]), block=WORDS, model=WORDS, sheet=WORDS, case=WORDS,
    subject=WORDS, point=WORDS, sample=st.integers(0, 1 << 26), surroundings=TABLE,
    coefficients=st.dictionaries(WORDS, st.floats(), max_size=2), judgement=WORDS, what=WORDS,
    weight=st.sampled_from(["required", "advisory"]), basis=WORDS, unit=st.sampled_from(["", "1", "hp", "<b>"]),
    verdict=st.sampled_from(VERDICTS), found=NUMBERS, expected=NUMBERS, low=NUMBERS, high=NUMBERS, doubt=NUMBERS,
    margin=NUMBERS, self_referential=st.booleans(), trouble=WORDS,
    readings=st.dictionaries(st.sampled_from(["run/a", "run/b", "", "/", "x/y/z"]), TABLE, max_size=3),
)  # fmt: skip


@settings(max_examples=60, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.lists(OUTCOMES, max_size=12))
def test_whatever_the_results_hold_every_form_can_be_made_of_it(rows: list[Outcome]) -> None:
    found = summarise(rows)
    document = json.loads(campaign_json.render(found))
    check(document, "campaign-summary", "summary.json")
    assert document["outcomes"] == len(rows)
    for form in FORMS.values():
        assert CAUTION in " ".join(form(found).split())


def test_an_unknown_verdict_is_no_summary() -> None:
    with pytest.raises(ReproducibilityError, match="unknown verdict 'splendid'"):
        summarise([row(verdict="splendid")])
