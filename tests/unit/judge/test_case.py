"""Whole cases: the worst point, what is left out, what may not be believed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from leverproof.cases.model import Event, Ref
from leverproof.conduct.model import Expected, NotApplicable
from leverproof.judge.case import judge_case
from leverproof.judge.model import PointFinding
from leverproof.judge.result import ORDER, withheld, worst
from leverproof.quantities import Quantity

MAP = "manifold_pressure"


def value(make: Any, **fields: Any) -> Any:
    return make.judgement("value", **{"channel": MAP, "tolerance": make.tolerance("0.5 inHg"), **fields})


def test_order_of_verdicts() -> None:
    assert ORDER[:4] == ("fail", "error", "invalid run", "conditional fail")
    for i, verdict in enumerate(ORDER):
        points = [withheld("a", v, "") for v in reversed(ORDER[i:])]
        decided = worst([withheld("x", "not applicable", ""), *points])
        assert decided is not None and decided.verdict == verdict
    assert worst([withheld("x", "not applicable", "")]) is None


def test_of_equal_verdicts_the_one_further_beyond_its_own_limit_decides() -> None:
    near, far = (
        PointFinding(label, 1.0, 0.0, "1", excess, limit, 0.0, "fail")
        for label, excess, limit in (("near", 5.0, 4.5), ("far", 3.0, 1.0))
    )
    decided = worst([near, far])
    assert decided is not None and decided.label == "far"


@pytest.mark.parametrize("bad", [29.0, 31.0])
def test_the_worst_point_decides_and_is_named(make: Any, bad: float) -> None:
    runs = [make.history({MAP: v}) for v in (30.0, 30.0 + (bad - 30.0) * 0.6, bad, 30.0)]
    finding = make.judge(value(make), runs, {"expected": 30.0}, at=(0.0, 1000.0, 2000.0, 3000.0))
    assert finding.verdict == "fail" and finding.found.startswith("at 2,000 ft: ") and len(finding.points) == 4
    assert finding.number == pytest.approx(bad)


def test_one_point_lost_is_not_passed(make: Any) -> None:
    runs = [make.history({MAP: 30.0}), make.history({MAP: 30.0}, readings={}, ending="hang", trouble="5 s")]
    finding = make.judge(value(make), runs, {"expected": 30.0}, at=(0.0, 1000.0))
    assert finding.verdict == "error" and finding.note.startswith("at 1,000 ft: ") and "5 s" in finding.note


def test_what_does_not_apply_is_said_for_every_judgement(make: Any) -> None:
    reason = NotApplicable("no turbo_speed channel", "overspeed cannot be seen")
    plan = make.plan((value(make), value(make, id="other")), {"expected": 30.0}, inapplicable=reason)
    findings = judge_case(plan, {}, make.facts())
    assert [(f.verdict, f.note) for f in findings] == [
        ("not applicable", "no turbo_speed channel; overspeed cannot be seen")
    ] * 2
    partly = make.plan(
        (value(make), value(make, id="other")), {"expected": 30.0}, inapplicable_judgements={"other": reason}
    )
    runs = {(0, "run"): make.conducted(make.history({MAP: 30.0}))}
    assert [f.verdict for f in judge_case(partly, runs, make.facts())] == ["pass", "not applicable"]


def test_a_judgement_the_plan_lost_is_an_error_and_no_points_is_not_run(make: Any) -> None:
    plan = make.plan(value(make), {"expected": 30.0})
    (lost,) = judge_case(replace(plan, judgements=()), {}, make.facts())
    assert lost.verdict == "error"
    (none,) = judge_case(replace(plan, points=()), {}, make.facts())
    assert none.verdict == "not run"
    (odd,) = judge_case(make.plan(make.judgement("guess"), {}), {}, make.facts())
    assert odd.verdict == "error"


def test_a_wrong_unit_is_an_error_not_a_crash(make: Any) -> None:
    wrong = value(make, tolerance=make.tolerance("1 hp"))
    finding = make.judge(wrong, {"run": make.history({MAP: 30.0})}, {"expected": 30.0})
    assert finding.verdict == "error" and "hp" in finding.note


def test_finding_carries_what_a_person_needs(make: Any) -> None:
    finding = make.judge(value(make, why="density"), {"run": make.history({MAP: 30.1})}, {"expected": 30.0})
    assert (finding.case, finding.subject, finding.why, finding.basis) == (
        "case",
        "boost control",
        "density",
        "published",
    )
    assert finding.found == "30.1 inHg" and finding.limit == 0.5 and finding.w == pytest.approx(0.0, abs=1e-6)


def test_a_copy_cannot_pass(make: Any) -> None:
    session = make.facts(copies={MAP: "throttle (gain 0.98)"})
    one = {"run": make.history({MAP: 30.0, "brake_power": 1.0})}
    finding = make.judge(value(make), one, {"expected": 30.0}, session=session)
    assert finding.verdict == "fail" and f"{MAP} is a copy of throttle (gain 0.98)" in finding.note
    late = make.facts(copies={"turbo_speed": "boost (gain 20,000)"})
    event = (Event("a", MAP, "rising"), Event("b", "turbo_speed", "rising"))
    t = make.times()
    pushed = make.history({MAP: t, "turbo_speed": t - 5.0})
    asked = make.judgement("order", run="run", events=event, least_gap=Quantity(1.0, "s"))
    levels = {"event:a": 10.0, "event:b": 10.0}
    assert make.judge(asked, {"run": pushed}, levels).verdict == "pass"
    assert make.judge(asked, {"run": pushed}, levels, session=late).verdict == "fail"
    still = make.judge(value(make), one, {"expected": 99.0}, session=session)
    assert "copy" not in still.note and still.verdict == "fail"


def dead(make: Any) -> Any:
    return make.facts(live=frozenset({"engine_speed"}))


def test_what_is_expected_to_stay_must_be_seen_to_move(make: Any) -> None:
    flat = [make.history({MAP: 30.0})] * 3
    at = (0.0, 1.0, 2.0)
    for direction, values in (
        ("constant", {}),
        ("never_falling", {"least_step": 0.1}),
        ("never_rising", {"least_step": 0.1}),
    ):
        asked = make.judgement("trend", channel=MAP, direction=direction, tolerance=make.tolerance("0.5 inHg"))
        assert make.judge(asked, flat, values, at=at).verdict == "pass"
        finding = make.judge(asked, flat, values, at=at, session=dead(make))
        assert finding.verdict == "fail" and "may not be connected" in finding.note
    rising = make.judgement("trend", channel=MAP, direction="rising")
    moving = [make.history({MAP: 30.0 + x}) for x in at]
    assert make.judge(rising, moving, {"least_step": 0.5}, at=at, session=dead(make)).verdict == "pass"


@pytest.mark.parametrize(("expected", "verdict"), [(0.0, "fail"), (0.5, "fail"), (-0.5, "fail"), (0.51, "pass")])
def test_no_difference_expected(make: Any, expected: float, verdict: str) -> None:
    runs = {
        "first": make.history({MAP: 30.25 if expected > 0.0 else 29.75}),
        "second": make.history({MAP: 30.0}),
    }
    asked = make.judgement(
        "difference", channel=MAP, more=Ref("first", "settled"), less=(Ref("second", "settled"),),
        tolerance=make.tolerance("0.5 inHg"),
    )  # fmt: skip
    assert make.judge(asked, runs, {"expected": expected}).verdict == "pass"
    assert make.judge(asked, runs, {"expected": expected}, session=dead(make)).verdict == verdict


def test_unchanged_as_a_ratio(make: Any) -> None:
    asked = value(make, relative_to=Ref("run", "settled"), tolerance=make.tolerance("0.1"))
    one = {"run": make.history({MAP: 30.0})}
    assert make.judge(asked, one, {"expected": 1.0}).verdict == "pass"
    assert make.judge(asked, one, {"expected": 1.0}, session=dead(make)).verdict == "fail"
    assert make.judge(value(make), one, {"expected": 30.0}, session=dead(make)).verdict == "pass"


def test_a_number_from_the_model_itself_is_marked(make: Any) -> None:
    one = {"run": make.history({MAP: 30.0})}
    own = make.judge(value(make), one, {"expected": Expected(30.0, 0.0, "sheet", True)})
    assert own.verdict == "pass" and own.self_referential
    assert not make.judge(value(make), one, {"expected": 30.0}).self_referential


@pytest.mark.parametrize(
    ("basis", "derived_from", "own"),
    [("predicted", "Corrie gas path; own tables", True), ("published", "Corrie gas path; own tables", False),
     ("predicted", "some other physics", False), ("predicted", "", False), ("predicted", "own; gas", False)],
)  # fmt: skip
def test_a_prediction_from_the_models_own_source_is_marked(make: Any, basis: str, derived_from: str, own: bool) -> None:
    source = Expected(30.0, 0.0, "predicted with the corrie gas path")
    session = make.facts(derived_from=derived_from)
    one = {"run": make.history({MAP: 30.0})}
    assert make.judge(value(make, basis=basis), one, {"expected": source}, session=session).self_referential == own


@pytest.mark.parametrize(("ending", "verdict"), [("crash", "error"), ("invalid", "invalid run")])
def test_a_run_that_ended_early_never_goes_unnoticed(make: Any, ending: str, verdict: str) -> None:
    one = make.history({MAP: 30.0}, ending=ending, trouble="NaN at 35 s")
    finding = make.judge(value(make), {"run": one}, {"expected": 30.0})
    assert finding.verdict == verdict and "NaN at 35 s" in finding.note
    both = (value(make), value(make, id="later", reading=Ref("run", "later")))
    runs = {(0, "run"): make.conducted(one)}
    findings = judge_case(make.plan(both, {"expected": 30.0}), runs, make.facts())
    assert [f.verdict for f in findings] == ["pass", verdict]


def test_an_early_end_nobody_looks_at_is_told_too(make: Any) -> None:
    runs = {
        (0, "run"): make.conducted(make.history({MAP: 30.0})),
        (0, "spare"): make.conducted(make.history({MAP: 30.0}, ending="hang"), run="spare"),
    }
    (finding,) = judge_case(make.plan(value(make), {"expected": 30.0}), runs, make.facts())
    assert finding.verdict == "error" and "'spare' ended early" in finding.note


def test_an_interruption_leaves_what_was_read(make: Any) -> None:
    one = make.history({MAP: 30.0}, ending="interrupted")
    assert make.judge(value(make), {"run": one}, {"expected": 30.0}).verdict == "pass"


def test_not_finite_expected_is_invalid(make: Any) -> None:
    one = {"run": make.history({MAP: 30.0})}
    assert make.judge(value(make), one, {"expected": math.nan}).verdict == "invalid run"


@pytest.mark.parametrize(("least", "verdict"), [(0.0, "fail"), (-1.0, "fail"), (0.5, "pass")])
def test_no_fall_expected_must_be_seen_to_move(make: Any, least: float, verdict: str) -> None:
    runs = {"first": make.history({MAP: 30.0 + max(least, 0.0)}), "second": make.history({MAP: 30.0})}
    asked = make.judgement("difference", channel=MAP, more=Ref("first", "settled"), less=(Ref("second", "settled"),))
    assert make.judge(asked, runs, {"at_least": least}).verdict == "pass"
    assert make.judge(asked, runs, {"at_least": least}, session=dead(make)).verdict == verdict


def test_a_value_that_happens_to_be_one_is_no_ratio(make: Any) -> None:
    one = {"run": make.history({MAP: 1.0})}
    assert make.judge(value(make), one, {"expected": 1.0}, session=dead(make)).verdict == "pass"


def test_an_early_end_leaves_what_did_not_pass(make: Any) -> None:
    advice = value(make, id="advice", weight="advisory", tolerance=make.tolerance("0.01 inHg"))
    doubtful = value(make, id="doubtful", channel="engine_speed", tolerance=make.tolerance("0 rpm"))
    one = make.history({MAP: 30.1, "engine_speed": 2400.0}, ending="crash")
    runs = {(0, "run"): make.conducted(one)}
    plan = make.plan((value(make), advice, doubtful), {"expected": 30.0})
    assert [f.verdict for f in judge_case(plan, runs, make.facts())] == ["error", "fail", "inconclusive"]
