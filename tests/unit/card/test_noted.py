"""Tables: clear errors with line and column; rows that do not count, with the reason; doubt of hand and eye."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import pytest

from leverproof.conduct.card import Card
from leverproof.conduct.noted_judging import Judged, judge_tables
from leverproof.conduct.noted_load import Table, parse_table
from leverproof.errors import InputError
from leverproof.judge.model import Finding

Printer = Callable[..., Card]
HEAD = (
    "run,reading,ended,steady,pressure_altitude [ft],indicated_airspeed [kt],ambient_temperature [degC],"
    "manifold_pressure [inHg],turbo_speed [rpm],carburettor_air_temperature [degC],remark"
)
DIVISION = "division,,,,20,2,1,0.1,200,2,"
OPEN = "open,settled,reached,,17000,154,-19,49.4,14000,20,"
SHUT = "shut,settled,reached,,17000,154,-19,49.4,16000,34,"


def lines(*rows: str, head: str = HEAD) -> str:
    return "\n".join((head, *rows)) + "\n"


def load(card: Card, text: str, path: str = "t.csv") -> Table:
    return parse_table(text, path, card)


def judged(card: Card, *texts: str) -> Judged:
    return judge_tables(card, [load(card, text, f"{i}.csv") for i, text in enumerate(texts)])


def of(found: Judged, name: str) -> Finding:
    return next(f for f in found.findings if f.judgement == name)


@pytest.fixture
def card(printed: Printer) -> Card:
    return printed("shutter-fixed-pressure")


def test_an_honest_table_passes_what_it_can_see(card: Card) -> None:
    found = judged(card, lines(DIVISION, OPEN, SHUT))
    hotter = of(found, "hotter")
    assert hotter.verdict == "pass" and hotter.number == pytest.approx(14.0)
    parts = {d.part: d.u for d in hotter.points[0].doubts}
    assert parts["gauge"] == pytest.approx(2.0 / 2.0 / math.sqrt(3.0))
    assert parts["seek residual"] is None and parts["step study"] is None
    assert of(found, "weaker").verdict == "not applicable" and not found.invalid


def test_within_doubt_of_the_least_difference_it_is_conditional(card: Card) -> None:
    assert of(judged(card, lines(DIVISION, OPEN, SHUT.replace(",34,", ",25,"))), "hotter").verdict == "conditional pass"
    assert of(judged(card, lines(DIVISION, OPEN, SHUT.replace(",34,", ",20,"))), "hotter").verdict == "fail"


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (SHUT.replace("reached,,", "reached,no,"), "not steady, by the flyer's own note"),
        (SHUT.replace("16000", "18700"), "turbo speed 18,700 rpm is beyond 18,250 rpm, where the card says stop"),
        (SHUT.replace(",34,", ",940,"), "carburettor air temperature 940 degC is impossible"),
        (SHUT.replace("17000", "17400"), "pressure altitude 17,400 ft is not the 17,000 ft asked"),
        (SHUT.replace(",154,", ",180,"), "true airspeed"),
        (SHUT.replace("-19", "-10"), "temperature offset"),
        (SHUT.replace("49.4", "45.1"), "manifold pressure 45.1 inHg is not the 49.4 inHg asked"),
    ],
)
def test_a_row_that_does_not_count_is_named_with_its_reason(card: Card, row: str, reason: str) -> None:
    found = judged(card, lines(DIVISION, OPEN, row))
    assert [(one.row.run, one.line) for one in found.invalid] == [("shut", 4)]
    assert reason in found.invalid[0].reason
    finding = of(found, "hotter")
    assert finding.verdict == "invalid run" and "fly this one again" in finding.note and reason in finding.note


def test_a_missing_number_is_an_invalid_point_and_an_empty_column_a_missing_gauge(card: Card) -> None:
    finding = of(judged(card, lines(DIVISION, OPEN, SHUT.replace(",34,", ",,"))), "hotter")
    assert finding.verdict == "invalid run" and "no number is written down: fly this one again" in finding.note
    bare = lines(DIVISION, OPEN.replace(",20,", ",,"), SHUT.replace(",34,", ",,"))
    assert of(judged(card, bare), "hotter").verdict == "not applicable"
    assert of(judged(card, lines(DIVISION, OPEN, "shut,settled,,,,,,,,,")), "hotter").verdict == "not run"


def test_repeats_and_two_flyers_are_doubt(card: Card) -> None:
    again = SHUT.replace(",34,", ",38,")
    repeated = of(judged(card, lines(DIVISION, OPEN, SHUT, again)), "hotter")
    assert repeated.number == pytest.approx(16.0)
    assert {d.part: d.u for d in repeated.points[0].doubts}["reading repeat"] == pytest.approx(2.0 / math.sqrt(3.0))
    both = of(judged(card, lines(DIVISION, OPEN, SHUT), lines(DIVISION, OPEN, again)), "hotter")
    assert both.number == pytest.approx(16.0)
    parts = [d.u for d in both.points[0].doubts if d.part == "two flyers"]
    assert max(u for u in parts if u is not None) == pytest.approx(2.0 / math.sqrt(3.0))
    assert both.w is not None and both.w > (of(judged(card, lines(DIVISION, OPEN, SHUT)), "hotter").w or 0.0)


def test_units_separators_and_decimal_commas(card: Card) -> None:
    head = HEAD.replace("manifold_pressure [inHg]", "manifold_pressure [hPa]").replace("[degC],remark", "[degF],remark")
    text = lines("division,,,,20,2,1,3.4,200,3.6,", OPEN.replace("49.4", "1672.9").replace(",20,", ",68.0,"), head=head)
    metric = load(card, text.replace(".", "#").replace(",", ";").replace("#", ","))
    assert metric.rows[0].values["manifold_pressure"] == pytest.approx(49.4, abs=0.01)
    assert metric.rows[0].values["carburettor_air_temperature"] == pytest.approx(20.0)
    assert metric.divisions["carburettor_air_temperature"] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        (
            lines(DIVISION, OPEN.replace("49.4", "49..4")),
            "line 3, column 'manifold_pressure [inHg]'",
            "cannot read '49..4'",
        ),
        (
            lines(DIVISION, OPEN.replace("49.4", "=1+1")),
            "line 3, column 'manifold_pressure [inHg]'",
            "cannot read '=1+1'",
        ),
        (lines(DIVISION, OPEN.replace("49.4", "nan")), "line 3", "cannot read 'nan'"),
        (lines(DIVISION, OPEN.replace("49.4", "1e999")), "line 3", "cannot read"),
        (lines(DIVISION.replace("200", ""), OPEN), "column 'turbo_speed [rpm]'", "smallest division"),
        (lines(DIVISION.replace("200", "0"), OPEN), "line 2", "not above zero"),
        (lines(DIVISION, OPEN.replace("open,", "opne,")), "line 3", "no row"),
        (lines(DIVISION, OPEN.replace("reached", "done")), "line 3, column 'ended'", "unknown word"),
        (lines(DIVISION, OPEN.replace("reached,,", "reached,maybe,")), "column 'steady'", "unknown word"),
        (lines(DIVISION, OPEN + ",5"), "line 3", "cells under"),
        (lines(DIVISION, DIVISION, OPEN), "line 3", "second row of divisions"),
        (lines(DIVISION, OPEN, head=HEAD.replace("[inHg]", "[rpm]")), "line 1", "angular speed, expected pressure"),
        (lines(DIVISION, OPEN, head=HEAD.replace(" [inHg]", "")), "line 1", "no unit"),
        (lines(DIVISION, OPEN, head=HEAD.replace("turbo_speed", "turbo_sped")), "line 1", "no such column"),
        (lines(DIVISION, OPEN, head=HEAD.replace("run,", "")), "line 1", "column 'run' is missing"),
        ("# leverproof table 1: idle-speed\n" + lines(DIVISION, OPEN), "t.csv", "printed for the case 'idle-speed'"),
        ("# engine sheet rill-6, revision 1, seed 1\n" + lines(DIVISION, OPEN), "t.csv", "the sheet 'rill-6'"),
        ("# engine sheet corrie-18-early, revision 1, seed 7\n" + lines(DIVISION, OPEN), "t.csv", "with seed 7"),
        ("", "t.csv", "holds nothing"),
    ],
)
def test_mistakes_are_named_by_line_and_column(card: Card, text: str, where: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        load(card, text)
    assert message in caught.value.message
    assert where in caught.value.where and caught.value.where.startswith("t.csv")


def test_a_judgement_of_histories_is_not_flown(printed: Printer) -> None:
    card = printed("cut-off-ground")
    head = "run,reading,manifold_pressure [inHg],engine_speed [rpm],fuel_flow [lb/h]\ndivision,,0.1,5,0.5\n"
    found = judged(card, head + f"{card.rows[0].run},{card.rows[0].reading},29.9,0,0\n")
    order = of(found, "fuel-then-speed")
    assert order.verdict == "not run" and "not flown: it asks what came first" in order.note
    assert of(found, "no-fuel").verdict == "conditional pass"


def test_a_row_elsewhere_shows_that_a_gauge_moves(printed: Printer) -> None:
    card = printed("slam-and-chop")
    head = "run,reading,engine_speed [rpm]\ndivision,,10\n"
    names = [f"{row.run},{row.reading}" for row in card.rows]
    assert names[-1] == "(elsewhere),any other setting"
    rows = "".join(f"{name},{n}\n" for name, n in zip(names, (680, 690, 2640), strict=True))
    assert of(judged(card, head + rows), "back-to-idle").verdict == "conditional pass"
    still = head + rows.replace("2640", "700")
    assert of(judged(card, still), "back-to-idle").verdict == "inconclusive"


def _points(card: Card) -> Sequence[float]:
    return sorted({row.variable for row in card.rows})


def test_a_trend_over_points_nobody_flew_is_not_run(printed: Printer) -> None:
    card = printed("throttle-sweep")
    head = "run,reading,throttle,manifold_pressure [inHg],turbo_speed [rpm]\ndivision,,,0.1,20\n"
    two = "".join(
        f"boost makes up,settled,{p:g},41.5,{n}\n" for p, n in zip(_points(card)[:2], (14_000, 12_000), strict=True)
    )
    assert of(judged(card, head + two), "turbo-speed").verdict == "not run"
    four = "".join(
        f"boost makes up,settled,{p:g},41.5,{n}\n"
        for p, n in zip(_points(card), (14_000, 12_000, 11_000, 10_950), strict=True)
    )
    assert of(judged(card, head + four), "turbo-speed").verdict == "conditional pass"


def test_a_stop_that_the_card_does_not_take_does_not_count(printed: Printer) -> None:
    card = printed("take-off-boost-back")
    head = (
        "run,reading,ended,pressure_altitude [ft],manifold_pressure [inHg],engine_speed [rpm]\ndivision,,,20,0.1,20\n"
    )
    found = judged(card, head + "take-off,settled,stop,0,48,2640\n")
    ending = of(found, "reached")
    assert ending.verdict in ("fail", "invalid run")
    assert of(judged(card, head + "take-off,settled,,0,52,2640\n"), "reached").verdict == "pass"


def test_after_another_lever_has_moved_the_sought_value_need_not_be_there(printed: Printer) -> None:
    card = printed("constant-speed-range")
    sought = {(row.run, row.reading): row.sought for row in card.rows}
    assert sought["lever", "forward"] and not sought["lever", "part back"]
    head = "run,reading,ended,manifold_pressure [inHg],engine_speed [rpm]\ndivision,,,0.1,10\n"
    moving = zip(
        (r.reading for r in card.rows if r.run == "lever"), (36.4, 38.2, 38.6), (2640, 2300, 1900), strict=True
    )
    text = head + "".join(f"lever,{name},,{pressure},{turns}\n" for name, pressure, turns in moving)
    found = judged(card, text)
    assert not found.invalid
    lever_back = of(found, "lever-back")
    assert lever_back.verdict == "conditional pass"
    placing = [d.u for d in lever_back.points[0].doubts if d.part == "lever placing"]
    assert placing and all((u is not None and math.isnan(u)) or u is None for u in placing)


def test_a_gauge_that_never_moves_shows_nothing(printed: Printer) -> None:
    card = printed("constant-speed-range")
    head = "run,reading,ended,manifold_pressure [inHg],engine_speed [rpm]\ndivision,,,0.1,10\n"
    targets = [s.value for p in card.planned.programs if p.key[2] == "power" for s in p.steps if s.do == "seek"]
    names = [r.reading for r in card.rows if r.run == "power"]
    rows = "".join(f"power,{name},,{value:.1f},2640\n" for name, value in zip(names, targets, strict=True))
    droop = of(judged(card, head + rows), "no-droop")
    assert droop.verdict == "inconclusive" and "did not move in what was written down" in droop.note


def test_gauges_that_a_case_cannot_do_without_are_on_the_card(printed: Printer) -> None:
    for name in ("rpm-pulled-back", "cut-off-flight", "power-up-and-down"):
        card = printed(name)
        assert set(card.case.applies.channels) - {"brake_power"} <= set(card.readings), name
