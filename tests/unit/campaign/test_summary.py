"""The fold: what it says of invented outcomes, that order changes nothing and that it holds no more than it must."""

from __future__ import annotations

import random
import tracemalloc
from itertools import groupby

import pytest

from leverproof.campaign.bounded import Least
from leverproof.campaign.model import Outcome
from leverproof.campaign.summary import WORST, Fold, summarise

from .campaign_rows import ALTITUDES, SPEEDS, campaign, power, row


def test_counts_shares_and_groups() -> None:
    told = summarise(campaign())
    assert (told.items, told.outcomes) == (12, 36)
    groups = {(g.kind, g.name): g for g in told.groups}
    assert (groups["model", "Corrie"].share.passed, groups["model", "Corrie"].share.judged) == (6, 6)
    rill = groups["model", "Rill"]
    assert rill.required == {"pass": 4, "error": 2} and rill.advisory == {"fail": 6}
    assert rill.self_referential == {"pass": 6}
    assert (rill.share.passed, rill.share.judged) == (4, 6)
    assert [g.name for g in told.groups if g.kind == "altitude"][:2] == [
        "0 to 5,000 ft",
        "5,000 to 10,000 ft",
    ]
    assert told.failed and not summarise(campaign(models=("Corrie",))).failed


def test_surfaces_of_readings_and_of_what_judgements_found() -> None:
    told = summarise(campaign())
    surface = next(s for s in told.surfaces if s.model == "Corrie" and s.channel == "brake_power")
    assert surface.altitudes == ALTITUDES and surface.speeds == tuple(s + 1.5 for s in SPEEDS)
    assert {(c.altitude, c.speed): c.mean for c in surface.cells}[2, 1] == pytest.approx(power(10000.0, 2200.0))
    curve = next(s for s in told.surfaces if s.model == "Corrie" and s.name == "power")
    assert curve.of == "judgement" and curve.speeds == () and len(curve.cells) == 6


def test_worst_margins_are_one_a_judgement_and_what_has_no_number_stands_first() -> None:
    told = summarise(campaign())
    required = [w.outcome for w in told.worst if w.standing == "required"]
    assert (required[0].model, required[0].verdict, required[0].margin) == ("Rill", "error", None)
    assert [(o.model, o.judgement) for o in required] == [("Rill", "power"), ("Corrie", "power")]
    assert {w.standing for w in told.worst} == {"required", "advisory", "self_referential"}


def test_many_judgements_leave_the_worst_in_any_order() -> None:
    rows = [row(case=f"case-{n:04d}", margin=((n * 7919) % 5000) / 1000.0) for n in range(3000)]
    rows += [row(case=r.case, item="f" * 32, margin=r.margin / 2) for r in rows if r.margin is not None]
    expected = sorted(((n * 7919) % 5000) / 2000.0 for n in range(3000))[:WORST]
    for seed in range(3):
        random.Random(seed).shuffle(rows)
        assert [w.outcome.margin for w in summarise(rows).worst] == expected


def test_draws_count_samples_and_leave_the_nominal_one_out() -> None:
    told = summarise(campaign(samples=40))
    corrie, rill = told.draws
    assert corrie.model == "Corrie" and corrie.share.judged == rill.share.judged == 40
    assert corrie.share.passed == 40 and rill.share.passed == 0


def test_sensitivity_names_the_coefficient_that_decides() -> None:
    first = [s for s in summarise(campaign(samples=40)).sensitivities if s.judgement == "power"]
    filling = [s for s in first if s.coefficient == "filling"]
    assert [s.model for s in filling] == ["Corrie", "Rill"]
    assert all(s.correlation == pytest.approx(1.0) and s.beyond_chance for s in filling)
    assert not any(s.beyond_chance for s in first if s.coefficient == "friction")


def test_troubles_are_told_with_their_number_and_whose_they_are() -> None:
    (trouble,) = summarise(campaign()).troubles
    assert trouble.outcomes == 2 and trouble.models == ("Rill",) and trouble.cases == ("rpm-chart",)
    assert "SIGKILL" in trouble.text and trouble.verdict == "error"
    told = "crash: the model raised KeyError: 'x' while advancing (the traceback is with the evidence)"
    rows = [row(trouble=f"{told}\nTraceback (most recent call last):\n  File", verdict="error")]
    (raised,) = summarise(rows).troubles
    assert raised.text == told.replace("with the evidence", "in the results")
    rows = [row(trouble=f"trouble {n:05d} of {n}", verdict="error") for n in range(300)]
    (alike,) = summarise(rows).troubles
    assert alike.outcomes == 300 and alike.text == "trouble 00000 of 0"
    letters = str.maketrans("0123456789", "abcdefghij")
    rows = [row(trouble=f"trouble {n}".translate(letters), verdict="error", model="Rill" * 999) for n in range(3000)]
    assert len(summarise(rows).troubles) == 200
    assert any("kinds of trouble" in words for words in summarise(rows).left_out)


def test_where_nothing_is_tolerated_the_margin_counts_doubts() -> None:
    common = {"doubt": 0.5, "unit": "inHg"}
    rows = [
        row(case="least", found=3.0, low=2.0, **common),
        row(case="least", found=2.5, low=2.0, item="a" * 32, **common),
        row(case="both", found=3.0, low=0.0, high=4.0, margin=0.25, **common),
        row(case="most", found=4.0, high=3.0, verdict="fail", **common),
        row(case="exact", found=4.0, low=3.0, doubt=0.0),
    ]
    told = [(w.outcome.case, w.scale, w.margin) for w in summarise(rows).worst]
    assert told == [("both", "tolerances", 0.25), ("most", "doubts", -2.0), ("least", "doubts", 1.0)]


def test_the_order_of_items_changes_nothing() -> None:
    rows = list(campaign(samples=30))
    items = [list(group) for _, group in groupby(rows, key=lambda r: r.item)]
    random.Random(3).shuffle(items)
    assert summarise(r for item in items for r in item) == summarise(rows)


def test_nothing_at_all_is_a_summary_too() -> None:
    told = summarise([])
    assert told.outcomes == 0 and not told.failed and told.whole.share.low is None


def test_what_is_held_does_not_grow_with_samples() -> None:
    def held(samples: int) -> int:
        fold = Fold()
        tracemalloc.start()
        for outcome in campaign(samples=samples, models=("Corrie",)):
            fold.add(outcome)
        fold._samples._rows = Least(1, list)  # type: ignore[arg-type]
        size = tracemalloc.get_traced_memory()[0]
        tracemalloc.stop()
        return size

    few, many = held(20), held(200)
    assert many < few + 20_000


def test_as_many_cases_as_there_are_outcomes_are_cut_and_said() -> None:
    def rows(count: int) -> list[Outcome]:
        return [row(case=f"case-{n:05d}", margin=1.0) for n in range(count)]

    told = summarise(rows(1500))
    assert len([g for g in told.groups if g.kind == "case"]) == 1000
    assert told.whole.required == {"pass": 1500}
    assert any("by case" in words for words in told.left_out)


def test_the_least_keys_stay_whole_in_any_order() -> None:
    keys = [n % 60 for n in range(600)]
    for seed in range(5):
        random.Random(seed).shuffle(keys)
        held: Least[int, list[int]] = Least(20, list)
        for key in keys:
            place = held.at(key)
            if place is not None:
                place.append(key)
        assert {k: len(v) for k, v in held.items()} == dict.fromkeys(range(20), 10)
        assert held.left_out and held.drop() == [19] * 10 and held.at(19) is None and len(held) == 19
