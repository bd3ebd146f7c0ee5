"""The test guide's folds, escaping, thinning and words; what it looks like is tested in a browser."""

from __future__ import annotations

import base64
import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from leverproof.cases.model import Curve, Ref
from leverproof.conduct.model import Point
from leverproof.history import History, Mark, Reading
from leverproof.judge.model import VERDICTS, Deferral, Doubt, Finding, PointFinding
from leverproof.record import Record
from leverproof.report import html
from leverproof.report.html import claim, evidence, figures, words
from leverproof.report.html.drawing import Band, Line, Placed, chart, distances, ticks
from leverproof.report.html.markup import LONGEST, Markup, data_script, element, escaped, value_cell, value_head
from leverproof.report.html.readings import readings_table
from leverproof.report.html.series import AROUND, MISSING, difference, packed, thinned, windows
from leverproof.report.wording import doubt_words
from leverproof.timegrid import TimeGrid

NASTY = "</script><script>alert(1)</script><b>&\"'\u202e\x00"
GRID = TimeGrid(1800)


def found(verdict: str, excess: float | None = None, *, w: float = 0.1, weight: str = "required") -> Finding:
    points = (PointFinding("", 1.0, 0.0, "inHg", excess, 0.5, w, verdict),)
    return Finding("c", f"j{verdict}{excess}{w}", "throttle", "value", "asked", weight, "sheet", "s", verdict,
                   found="1 inHg", expected="0 inHg", unit="inHg", points=points)  # fmt: skip


def test_a_text_becomes_markup_only_by_being_escaped() -> None:
    shown = element("p", NASTY, title=NASTY)
    assert "<script" not in shown and "&lt;script&gt;" in shown
    assert shown.count('"') == 2 and "\u202e" not in shown and "\\u202e" in shown and "\\x00" in shown
    assert escaped(Markup("<b>")) == "<b>" and escaped("<b>") == "&lt;b&gt;"
    assert element("input", checked=True, value=None) == "<input checked>"


def test_endless_texts_are_cut_and_the_cut_is_told() -> None:
    assert escaped("x" * LONGEST) == "x" * LONGEST
    assert escaped("x" * (LONGEST + 5)).endswith("... (5 characters left out)")


def test_data_cannot_end_its_element_and_comes_back_unchanged() -> None:
    script = data_script("d", {NASTY: [NASTY, 1.5, None]})
    assert script.count("<") == 2 and script.isascii()
    inside = script[script.index(">") + 1 : script.rindex("<")]
    assert json.loads(inside) == {NASTY: [NASTY, 1.5, None]}
    with pytest.raises(ValueError, match="JSON"):
        data_script("d", math.nan)


def test_numbers_stand_right_with_their_details_below() -> None:
    assert value_cell("18.02 inHg (a, b)") == '<td class="n">18.02 inHg<div class="sub">(a, b)</div></td>'
    assert value_cell("the seek ended: stop (x)") == "<td>the seek ended: stop (x)</td>"
    assert 'class="n"' in value_head("found", ["18.02 inHg (a, b)", "3 K", "-"])
    assert 'class="n"' not in value_head("found", ["turbo half way 0.672 s after lever half way", "3 K"])


def test_a_doubt_is_told_to_two_figures() -> None:
    told = [doubt_words(value, unit) for value, unit in ((0.05774, "s"), (1.633, "degC"), (1234.0, "rpm"), (0.0, "hp"))]
    assert told == ["0.058 s", "1.6 degC", "1,200 rpm", "0 hp"]
    assert doubt_words(None, "s") == "-"


def test_every_verdict_has_its_part_of_the_claim() -> None:
    parts = {verdict: claim.part_of_claim(found(verdict)) for verdict in VERDICTS}
    assert {v for v, part in parts.items() if part == "tested"} == set(claim.TESTED)
    assert parts["not applicable"] == "untestable" and parts["deferred"] == "withdrawn by deferral"
    assert {v for v, part in parts.items() if part == "untested"} == {
        "inconclusive", "invalid run", "error", "flaky", "blocked", "not run"}  # fmt: skip
    assert sum(map(len, claim.claim([found(v) for v in VERDICTS]).values())) == len(VERDICTS)


def test_findings_come_required_first_then_by_units_of_doubt() -> None:
    near, far, wide = found("fail", 0.7), found("fail", 1.5), found("fail", 5.0, w=10.0)
    certain, advisory = found("fail", 0.6, w=0.0), found("fail", 99.0, weight="advisory")
    lost, spoken = found("error"), found("fail")
    order = claim.in_order([lost, advisory, near, wide, far, spoken, certain])
    assert order == [spoken, certain, far, near, wide, lost, advisory]
    assert claim.units_of_doubt(far) == pytest.approx(10.0)
    assert claim.units_of_doubt(found("pass", 0.2)) == pytest.approx(-3.0)
    assert claim.units_of_doubt(certain) == claim.units_of_doubt(spoken) == math.inf


def test_the_sentence_has_number_tolerance_and_doubt() -> None:
    told = words.sentence(replace(found("fail", 1.5), tolerance="0.5 inHg"))
    assert told == (
        "Fails: found 1 inHg, expected 0 ± 0.5 inHg. "
        "That is 1 inHg beyond what is tolerated, 10.0 times the doubt of 0.1 inHg (95 %)."
    )
    assert words.sentence(replace(found("error"), found="", note="it crashed")) == "Error: it crashed."
    assert "the doubt is nought" in words.sentence(found("fail", 1.5, w=0.0))
    assert words.units_cell(found("fail", 0.6)) == "+1.0" and words.units_cell(found("error")) == "-"


def test_thinning_keeps_every_peak_and_its_order() -> None:
    data = np.zeros((2_400, 2), np.float32)
    data[777, 0], data[1_500, 1] = 9.0, -4.0
    data[778, 0] = -9.0
    thin = thinned(data)
    assert len(thin.rows) == len(thin.data) == 480 and thin.size == 10
    assert thin.data[:, 0].max() == 9.0 and thin.data[:, 0].min() == -9.0 and thin.data[:, 1].min() == -4.0
    assert thin.data[:, 0].argmax() < thin.data[:, 0].argmin()
    assert (np.diff(thin.rows) > 0).all() and thin.rows[0] == 0 and thin.rows[-1] == 2_399


@pytest.mark.parametrize("count", [1, 479, 480, 481, 2_399, 2_401, 100_003])
def test_thinning_never_exceeds_its_points_and_stays_within_the_run(count: int) -> None:
    thin = thinned(np.arange(count, dtype=np.float32)[:, None])
    assert len(thin.rows) <= 480 and thin.rows.max() == count - 1
    assert (np.diff(thin.data[:, 0]) >= 0).all()
    assert thin.data.min() == 0.0 and thin.data.max() == count - 1


def test_judged_instants_are_kept_sample_by_sample() -> None:
    data = np.sin(np.arange(4_000, dtype=np.float32))[:, None]
    history = History(GRID, ("throttle",), data)
    keep = windows(history, [2_000, 2_050])
    reach = AROUND // GRID.step
    assert keep == ((2_000 - reach, 2_050 + reach + 1),)
    thin = thinned(data, keep=keep)
    inside = (thin.rows >= keep[0][0]) & (thin.rows < keep[0][1])
    assert thin.rows[inside].tolist() == list(range(*keep[0]))
    assert np.array_equal(thin.data[inside], data[keep[0][0] : keep[0][1]])
    assert windows(history, [0, 3_999]) == ((0, reach + 1), (3_999 - reach, 4_000))


def test_packed_channels_come_back_within_one_part_of_their_range() -> None:
    rng = np.random.default_rng(2)
    data = np.column_stack(
        [rng.normal(50.0, 3.0, 300), np.full(300, 7.0), np.full(300, np.nan), rng.random(300)]
    )
    data[17, 3] = np.inf
    names = ("manifold_pressure", "boost", "fuel_flow", "throttle")
    held = packed(History(GRID, names, data.astype(np.float32)))["channels"]
    assert held["boost"] == {"flat": 7.0} and held["fuel_flow"] == {"flat": None}
    for index, name in ((0, "manifold_pressure"), (3, "throttle")):
        said = held[name]
        levels = np.frombuffer(base64.b64decode(said["b"]), "<u2").astype(float)
        span = said["high"] - said["low"]
        back = np.where(levels == MISSING, np.nan, said["low"] + levels * span / 65_534)
        good = np.isfinite(data[:, index])
        assert np.abs(back[good] - data[good, index]).max() <= span / 65_534 + 1e-6 * abs(said["high"])
        assert np.isnan(back[~good]).all()


def test_a_difference_is_taken_at_equal_time_for_as_long_as_both_last() -> None:
    coarse, fine = np.arange(10.0), np.arange(0.0, 5.6, 0.5)
    times, apart = difference((fine, 3.0 * fine + 1.0), (coarse, 3.0 * coarse))
    assert times.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0] and np.abs(apart - 1.0).max() < 1e-12


@pytest.mark.parametrize(
    ("low", "high"), [(0.0, 0.0), (1e-9, 2e-9), (-3.0, 7.0), (30.0, 30.0), (0.0, 1e7), (5e6, 5e6)]
)
def test_ticks_enclose_whatever_is_drawn(low: float, high: float) -> None:
    made = ticks(low, high, 5)
    assert made[0] <= low + 1e-9 * abs(low) and made[-1] >= high - 1e-9 * abs(high) and 2 <= len(made) <= 8
    assert all(b > a for a, b in pairwise(made))


def test_a_still_chart_leaves_gaps_and_escapes_its_labels() -> None:
    values = np.array([1.0, 2.0, math.nan, 3.0])
    drawn = chart("a <b>", "inHg", [Line(NASTY, np.arange(4.0), values, 0)], band=Band(2.0, 0.5))
    assert drawn.count('class="run') == 1 and re.search(r'class="run r0" d="M[^"]*M', drawn)
    assert "<script" not in drawn and "a &lt;b&gt;, inHg" in drawn and 'class="band"' in drawn
    assert chart("none", "1", [Line("x", np.arange(2.0), np.full(2, math.nan), 0)]) == ""
    assert distances([Placed("x", math.nan, 0.0, 0.0)], "hp", "said") == ""
    assert distances([Placed("x", 3.0, 1.0, 0.5)], "hp", "said").count('class="at out"') == 1


class Balanced(HTMLParser):
    """Fails on an element that is closed where it was not opened, or never."""

    VOID = frozenset({"meta", "input", "br"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value or "" for name, value in attrs if name == "id"]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass


def test_the_page_of_every_verdict_is_whole_and_names_nothing_twice(full: Record) -> None:
    page = html.render(full)
    parser = Balanced()
    parser.feed(page)
    assert parser.open == [] and len(set(parser.ids)) == len(parser.ids)
    for verdict in VERDICTS:
        assert verdict in page
    for target in re.findall(r'href="#([^"]+)"', page):
        assert target in parser.ids, target
    assert not re.search("https?:", re.sub(r"<script>.*?</script>", "", page, flags=re.S))
    assert page.index("What was tested") < page.index("What may be claimed") < page.index("power-sign")
    assert "self-referential (not counted as passed)" in page
    assert "channel turbo_overspeed_light; lost: whether the light tells the truth" in page


def test_the_ladder_says_how_every_subject_stands(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("j")
    cases = [make.case(f"c-{name}", name, (asked,)) for name in ("low", "middle", "own")]
    results = [("fail", False), ("blocked", False), ("pass", True)]
    found_ = [make.finding(asked, c, v, self_referential=s) for c, (v, s) in zip(cases, results, strict=True)]
    header = {
        "ladder": {"low": [], "middle": ["low"], "top": ["middle"]},
        "subjects": ["low", "middle", "top"],
    }
    record = session([make.plan(c) for c in cases], found_, header=header)
    rungs = claim.ladder(record, found_)
    assert [(r.subject, r.state, r.stands_on) for r in rungs] == [
        ("low", "fails", ()), ("middle", "blocked", ("low",)), ("top", "not asked", ("middle",)),
        ("own", "nothing shown", ())]  # fmt: skip


def test_what_is_put_off_or_loosened_is_told_with_its_owner(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = (make.judgement("j"), make.judgement("k"), make.judgement("m"))
    of = make.case("c", "low", asked)
    held = Deferral("c", "j", "R. <Example>", "the gate sticks", "2030-01-31", 2.0, "tolerances")
    gone = replace(held, judgement="k", expires="2020-01-31")
    results = [
        make.finding(asked[0], of, "deferred", deferral=held, deferral_state="holds", note="would be: fail"),
        make.finding(asked[1], of, "fail", deferral=gone, deferral_state="expired"),
        make.finding(asked[2], of, "pass", loosened="twice as wide, by R. Example"),
    ]
    page = html.render(session([make.plan(of)], results))
    assert 'Withdrawn by deferral <span class="n">1</span>' in page
    assert "c/j: deferred (deferral holds); R. &lt;Example&gt; until 2030-01-31" in page
    assert "fail (deferral expired)" in page and "Deferral: R. &lt;Example&gt; until 2020-01-31" in page
    assert "c/m (pass): twice as wide, by R. Example" in page and "of these loosened" in page


def test_a_stored_curve_is_laid_on_its_run_as_it_was_judged(make: SimpleNamespace) -> None:
    asked = replace(
        make.judgement("j", what="history", channel="brake_power"), run="only", since="open",
        between=("before", "after"),
        curve=Curve((0.0, 2.0, 4.0), (100.0, 300.0, 500.0)),
    )  # fmt: skip
    of = make.case("c", "low", (asked,))
    data = np.linspace(120.0, 900.0, 400, dtype=np.float32)[:, None]
    marks, start = (Mark("move", 100, 140, "open"),), Reading("before", 90, {"brake_power": 120.0}, {})
    run = History(GRID, ("brake_power",), data, marks, (start,))
    case = evidence.CaseEvidence(make.plan(of), (), {(0, "only"): run})
    judged = make.finding(asked, of, "fail")
    lines = evidence.lines_of(case, judged, "brake_power")
    laid = evidence.reference_line(case, judged, lines, "brake_power")
    assert laid is not None
    assert laid.times.tolist() == [5.0, 7.0, 9.0] and laid.values.tolist() == [120.0, 320.0, 520.0]
    assert (
        evidence.reference_line(case, make.finding(make.judgement("x"), of, "fail"), lines, "brake_power")
        is None
    )
    figure = figures.of_finding(case, judged, "n")
    assert figure is not None and "only less reference" in figure and 'class="both"' in figure


ODD = (None, 0.0, -1.0, 1e300, 5e-324, math.inf, -math.inf, math.nan)


def test_no_number_whatever_it_is_stops_the_page(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    every = [(e, limit, w) for e in ODD for limit in ODD[1:] for w in ODD[1:]]
    asked = tuple(make.judgement(f"j{n}") for n in range(len(every)))
    of = make.case("c", "low", asked)
    results = [
        make.finding(
            j, of, "fail", limit=limit, w=w, number=e,
            points=(PointFinding("here", e, e, "inHg", e, limit, w, "fail", (Doubt("jitter", w), Doubt("fit", None))),),
        )
        for j, (e, limit, w) in zip(asked, every, strict=True)
    ]  # fmt: skip
    page = html.render(session([make.plan(of)], results))
    assert page.count('class="finding ') == len(every)
    assert not re.search(r'[dxy]="[^"]*(nan|inf)', page)


@pytest.mark.parametrize("rows", [0, 1, 2, 700])
@pytest.mark.parametrize("kind", ["constant", "gone", "endless", "mixed"])
def test_no_history_whatever_it_holds_stops_the_page(
    rows: int, kind: str, session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = replace(make.judgement("j", channel="manifold_pressure"), reading=Ref("only", "settled"))
    of = make.case("c", "low", (asked,))
    held = {
        "constant": [7.0],
        "gone": [math.nan],
        "endless": [3e38, -3e38, math.inf],
        "mixed": [1.0, math.nan, -2.0],
    }
    data = np.resize(np.array(held[kind], np.float32), (rows, 1))
    readings = (Reading("settled", 0, {"manifold_pressure": math.nan}, {}),)
    run = History(GRID, ("manifold_pressure",), data, (), readings if rows else ())
    planned = replace(make.plan(of), points=(Point(0, "", False, 0.0, {}, {}),))
    results = [make.finding(asked, of, "fail")]
    case = evidence.of_case(session([planned], results), planned, results)
    case = replace(case, histories={(0, "only"): run, (0, "other"): run})
    json.dumps(evidence.plot_data(case), allow_nan=False)
    assert "nan" not in str(figures.of_finding(case, results[0], "n"))
    readings_table(case)


def _luminance(colour: str) -> float:
    """Relative luminance (Web Content Accessibility Guidelines 2.2)."""
    digits = colour.lstrip("#")
    full = "".join(c * 2 for c in digits) if len(digits) == 3 else digits
    parts = [int(full[i : i + 2], 16) / 255.0 for i in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def test_every_colour_of_text_stands_off_its_ground_light_dark_and_printed() -> None:
    style = files("leverproof.report.html").joinpath("guide.css").read_text("utf-8")
    palettes = [
        dict(re.findall(r"--([\w-]+): (#\w+)", block))
        for block in re.findall(r":root \{(.*?)\}", style, re.S)
    ]
    assert len(palettes) == 3
    for palette in palettes:
        for ground in ("page", "sheet", "tint"):
            for name in ("ink", "soft", "accent", "fail", "doubtful", "pass", "open"):
                light, dark = sorted((_luminance(palette[name]), _luminance(palette[ground])), reverse=True)
                assert (light + 0.05) / (dark + 0.05) >= 4.5, (name, ground)


def test_damaged_histories_are_told_and_stop_nothing(full: Record) -> None:
    (full.folder / "histories").mkdir(exist_ok=True)
    (full.folder / "histories" / "take-off-boost-back.npz").write_bytes(b"nothing of the kind")
    page = html.render(full)
    assert "The histories of this case cannot be shown" in page and "split-lever-advantage" in page


def test_a_record_cut_short_still_makes_a_page(session: Callable[..., Record], make: SimpleNamespace) -> None:
    asked = make.judgement("j")
    page = html.render(session([make.plan(make.case("c", "low", (asked,)))], [], ending=None, header={}))
    assert "incomplete: the run stopped before its footer" in page and "Nothing was judged" not in page


def test_a_run_without_samples_or_readings_is_drawn_as_what_it_is() -> None:
    empty = History(GRID, ("throttle",), np.zeros((0, 1), np.float32), readings=(Reading("r", 0, {}, {}),))
    assert windows(empty, [0]) == ()
