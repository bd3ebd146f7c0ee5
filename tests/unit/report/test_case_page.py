"""A case in plain words."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import (
    WHATS,
    Applies,
    AtEqual,
    Event,
    Exercised,
    Judgement,
    Per,
    Ref,
    Run,
    Step,
    Sweep,
    Tolerance,
    Value,
)
from leverproof.quantities import Quantity
from leverproof.report import case_page
from leverproof.report.judgement_words import judgement_words
from leverproof.report.wording import datum_words


def inhg(value: float) -> Value:
    return Value(quantity=Quantity(value, "inHg"))


FULL = Judgement(
    "sign", "difference", "more power with the throttle first", "required", "physics", "NACA Report 189",
    why="less back pressure", channel="brake_power", by="manifold_temperature", run="first", runs=("first", "together"),
    reading=Ref("first", "settled"), readings=(Ref("first", "a"), Ref("first", "b")), more=Ref("first", "settled"),
    less=(Ref("together", "settled"),), expected=inhg(52.0), at=inhg(30.0),
    at_least=Value(quantity=Quantity(2.0, "hp")),
    tolerance=Tolerance(Quantity(0.5, "inHg"), 2.0, "range", "gauge"), time_tolerance=2.0, window=("start", "settled"),
    at_equal=AtEqual("manifold_pressure", inhg(52.0), "below"),
    exercised=Exercised("carburettor_deck_pressure", inhg(2.0), Ref("together", "settled"), Ref("first", "settled")),
    per=Per("carburettor_deck_pressure", Quantity(2.0, "hp/inHg")), over="altitude", direction="rising",
    least_step=inhg(0.1), events=(Event("full", "throttle", crosses=Value(word="open"), direction="rising"),),
    seen="on", since="slam", between=("idle", "settled"), measure="t90", seek="to 52", endings=("stop",),
    at_most=Value(sheet="limits.turbo_speed", times=1.02, plus=Quantity(-60.0, "rpm")),
)  # fmt: skip


@pytest.fixture
def page(make: SimpleNamespace) -> str:
    steps = (
        Step("set", levers={"throttle": Value(quantity=Quantity(0.3, "1")), "mixture": Value(word="auto_rich")}),
        Step("move", levers={"throttle": Value(word="open")}, duration=72_000, name="opening"),
        Step("hold", duration=18_000),
        Step("seek", lever="boost", channel="manifold_pressure", value=Value(sheet="takeoff.manifold_pressure"),
             within=Quantity(0.02, "inHg"), accept=("stop", "turbo_speed limit"), limit=180 * 36_000,
             guard={"turbo_speed": Value(sheet="limits.turbo_speed")}, rate=Quantity(0.1, "1/s")),
        Step("couple", lead=0.1), Step("uncouple"), Step("read", "settled", limit=36_000),
        Step("pause", duration=18_000), Step("hold", duration=18_000),
    )  # fmt: skip
    of = make.case(
        "split-lever", "boost control", (FULL,), runs=(Run("first", steps), Run("fine", steps, grid=2)),
        applies=Applies({"hardware.boost_acts_on": ("gate", "speed")}, ("takeoff.manifold_pressure",), ("boost",),
                        ("turbo_speed",), ("deterministic",), "the reason for the second lever"),
        sweep=Sweep("altitude", (Quantity(10_000.0, "ft"), Quantity(20_000.0, "ft")), Quantity(9_000.0, "ft"),
                    Quantity(21_000.0, "ft"), 2), consequence="Expect no advantage in the climb.",
    )  # fmt: skip
    return case_page.render(of, width=90)


@pytest.mark.parametrize(
    "words",
    [
        "Does the engine give its rating with boost back?",
        "Repeated at altitude 10,000 ft, 20,000 ft, and at 2 more drawn by the seed between 9,000 ft and 21,000 ft.",
        "the sheet says boost acts on: gate or speed",
        "1. Set throttle 0.3, mixture auto rich.",
        "2. Move throttle open over 2 s. [opening]",
        "8. Pause: ask nothing of the model for 0.5 s by the clock on the wall.",
        "3. Hold for 0.5 s.",
        "Move boost until manifold pressure holds the sheet's take-off manifold pressure within 0.02 inHg, at 0.1 1/s, "
        "in at most 180 s; stop before turbo speed passes the sheet's limit of turbo speed; also good: the lever "
        "reaches its stop, turbo speed limit.",
        "5. Couple throttle and boost, boost ahead by 0.1.",
        "7. Read the gauges, waiting at most 1 s until they are steady. [settled]",
        "On half the stand's grid step.",
        "sign: more power with the throttle first",
        "tolerance 0.5 inHg or 2 % of the channel's range, whichever is less restrictive (gauge)",
        "the sheet states take-off manifold pressure",
        "weight required",
        "basis physics",
        "source NACA Report 189",
        "why less back pressure",
        "Expect no advantage in the climb.",
        "Caution: A statement about a simulated engine.",
    ],
)
def test_the_page_says_it(page: str, words: str) -> None:
    assert words in re.sub(r"\s+", " ", page)


def test_the_page_keeps_to_its_width(page: str) -> None:
    assert max(map(len, page.splitlines())) <= 90


@pytest.mark.parametrize("what", WHATS)
def test_every_kind_of_judgement_has_its_sentence(what: str) -> None:
    import dataclasses

    sentence = judgement_words(dataclasses.replace(FULL, what=what), case_page.value_words)
    assert len(sentence) > 20
    assert "None" not in sentence


def test_a_value_of_the_sheet_is_named_with_what_is_done_to_it() -> None:
    assert FULL.at_most is not None
    assert case_page.value_words(FULL.at_most) == "the sheet's limit of turbo speed x 1.02 less 60 rpm"


def test_a_datum_of_the_sheet_reads_as_a_phrase() -> None:
    assert datum_words("limits.turbo_speed") == "limit of turbo speed"
    assert datum_words("link.above") == "height above which the levers may be linked"
    assert datum_words("takeoff.manifold_pressure") == "take-off manifold pressure"


def test_every_shipped_page_names_its_runs_and_explains_what_it_marks() -> None:
    for case in load_catalogue().cases:
        page = " ".join(case_page.render(case).split())
        assert all(f"Procedure, run {run.name} " in page for run in case.runs), case.id
        assert "sheet's limits" not in page, case.id
        reads = any(step.do == "read" and step.name for run in case.runs for step in run.steps)
        assert ("RUN.READING stands for" in page) is reads, case.id
