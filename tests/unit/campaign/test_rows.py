"""Rows: limits, margins and reasons as the findings have them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from leverproof.campaign.facts import Facts, facts_of_item, plain_facts, read_facts
from leverproof.campaign.model import Item, Outcome
from leverproof.campaign.rows import Rows
from leverproof.cases.model import Applies, Judgement, ReferenceCase, Run, Value
from leverproof.conduct.model import ConductedRun, PlannedCase, Point, Program
from leverproof.history import History, Reading
from leverproof.judge.model import Finding, PointFinding, SessionFacts
from leverproof.quantities import Quantity
from leverproof.timegrid import TimeGrid

ITEM = Item("ab", 0, "sheet", "climb", {"pressure_altitude": 5000.0}, 3)
NUMBER = Value(Quantity(10.0, "hp"))
AIR = {"pressure_altitude": 5000.0, "temperature_offset": 0.0}


def judgement(**asked: object) -> Judgement:
    return Judgement("j", "value", "a", "required", "physics", "s", channel="brake_power", **asked)  # type: ignore[arg-type]


def planned(asked: Judgement, labels: tuple[str, ...] = ("",)) -> PlannedCase:
    case = ReferenceCase(
        "climb", "altitude", "t", "q", "c", "running", Applies(), {}, (Run("up", ()), Run("down", ())), (asked,)
    )  # fmt: skip
    points = tuple(
        Point(i, label, False, 0.0, AIR | {"pressure_altitude": 5000.0 + i}, {}) for i, label in enumerate(labels)
    )
    return PlannedCase(case, points, (), (asked,))


def finding(*points: PointFinding, verdict: str = "pass", note: str = "") -> Finding:
    return Finding(
        "climb", "j", "altitude", "value", "a", "required", "physics", "s", verdict, points=points, note=note
    )


def point(
    found: float, expected: float, excess: float, limit: float, label: str = "", verdict: str = "pass"
) -> PointFinding:
    return PointFinding(label, found, expected, "hp", excess, limit, 0.25, verdict)


def rows(asked: Judgement, found: Finding, labels: tuple[str, ...] = ("",)) -> list[Outcome]:
    plan = planned(asked, labels)
    return Rows("m", "b0", {"k": 2.0}).of(ITEM, plan, {}, [found], plan.case)


@pytest.mark.parametrize(
    ("asked", "seen", "limits", "margin"),
    [
        (judgement(expected=NUMBER), point(9.0, 10.0, 1.0, 4.0), (6.0, 14.0), 0.75),
        (judgement(expected=NUMBER), point(15.0, 10.0, 5.0, 4.0), (6.0, 14.0), -0.25),
        (judgement(at_most=NUMBER), point(8.0, 10.0, -2.0, 4.0), (None, 14.0), 1.5),
        (judgement(at_least=NUMBER), point(8.0, 10.0, 2.0, 4.0), (6.0, None), 0.5),
        (judgement(at_least=NUMBER), point(12.0, 10.0, -2.0, 0.0), (10.0, None), None),
        (judgement(at_least=NUMBER, at_most=NUMBER), point(12.0, 10.0, 2.0, 4.0), (None, 14.0), 0.5),
        (judgement(at_least=NUMBER, at_most=NUMBER), point(8.0, 10.0, 2.0, 4.0), (6.0, None), 0.5),
        (judgement(), point(8.0, 10.0, 2.0, 4.0), (None, None), 0.5),
    ],
)
def test_limits_and_margins(
    asked: Judgement, seen: PointFinding, limits: tuple[float | None, float | None], margin: float | None
) -> None:
    (row,) = rows(asked, finding(seen))
    assert ((row.low, row.high), row.margin, row.doubt) == (limits, margin, 0.25)
    assert (row.sample, row.coefficients, row.surroundings) == (3, {"k": 2.0}, AIR)


def test_what_could_not_be_judged_has_its_reason_and_no_numbers() -> None:
    seen = PointFinding("", None, None, "1", None, 0.0, 0.0, "invalid run", note="it oscillates")
    (row,) = rows(judgement(expected=NUMBER), finding(seen, verdict="invalid run"))
    assert (row.found, row.low, row.high, row.doubt, row.margin, row.trouble) == (
        None,
        None,
        None,
        None,
        None,
        "it oscillates",
    )


def test_a_verdict_from_elsewhere_than_its_points_stands_at_each() -> None:
    seen = (point(9.0, 10.0, 1.0, 4.0, "a"), point(9.0, 10.0, 1.0, 4.0, "b"))
    told = rows(judgement(expected=NUMBER), finding(*seen, verdict="error", note="crash after that"), ("a", "b"))
    assert [(r.point, r.verdict, r.trouble) for r in told] == [(x, "error", "crash after that") for x in ("a", "b")]
    kept = rows(judgement(expected=NUMBER), finding(*seen), ("a", "b"))
    assert [r.surroundings["pressure_altitude"] for r in kept] == [5000.0, 5001.0]


def test_an_inapplicable_judgement_gives_one_row() -> None:
    (row,) = rows(judgement(expected=NUMBER), finding(verdict="not applicable", note="no torque"))
    assert (row.verdict, row.trouble, row.found) == ("not applicable", "no torque", None)


def test_readings_stand_once_for_each_point_without_what_is_lost() -> None:
    asked = judgement(expected=NUMBER)
    reading = Reading("high", 0, {"brake_power": 9.0, "torque": 1.0}, {}, lost={"torque": "no gauge"})
    history = History(TimeGrid(1800), ("brake_power",), np.zeros((1, 1), np.float32), readings=(reading,))
    run = ConductedRun(Program(("climb", 1, "down"), "running", {}, (), TimeGrid(1800)), history)
    seen = tuple(point(9.0, 10.0, 1.0, 4.0, label) for label in ("a", "b"))
    own = [finding(*seen), finding(*seen)]
    plan = planned(asked, ("a", "b"))
    told = Rows("m", "b0", {}).of(ITEM, plan, {(1, "down"): run}, own, plan.case)
    assert [r.readings for r in told] == [{}, {"down/high": {"brake_power": 9.0}}, {}, {}]


def test_facts_travel_as_plain_data() -> None:
    shown = SessionFacts({"torque": 0.1 + 0.2}, frozenset({"torque", "brake_power"}), {"a": "b"})
    back = read_facts(plain_facts(shown, "", 7))
    assert back == Facts({"torque": 0.1 + 0.2}, ("brake_power", "torque"), {"a": "b"}, True, "", 7)
    assert read_facts(None) == Facts()


def test_an_item_is_judged_by_the_study_and_by_what_its_own_runs_move() -> None:
    asked = replace(judgement(expected=NUMBER), channel="turbo_speed")
    data = np.array([[100.0], [9000.0], [100.0]], np.float32)
    run = ConductedRun(
        Program(("climb", 0, "up"), "running", {}, (), TimeGrid(1800)), History(TimeGrid(1800), ("turbo_speed",), data)
    )
    study = Facts({"torque": 0.5}, ("torque",), {"a": "b"}, True)
    said = {"derived_from": "own physics", "jitter": 0.25}
    facts = facts_of_item(study, planned(asked), {(0, "up"): run}, said, "two_stage")
    assert facts == SessionFacts({"torque": 0.5}, frozenset({"torque", "turbo_speed"}), {"a": "b"}, 0.25, "own physics")
    alone = facts_of_item(Facts(words="none"), planned(asked), {(0, "up"): run}, said, "two_stage")
    assert alone.step_u is None and alone.live == {"turbo_speed"}
