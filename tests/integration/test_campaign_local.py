"""Processes of this machine: what dies or hangs costs its own case, and how the work was spread leaves no trace."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.campaign import expand, store
from leverproof.campaign.conducting import Counting, Flown, fly_campaign, tally
from leverproof.campaign.expand import Shard, items
from leverproof.campaign.flying import Flyer
from leverproof.campaign.local import Workers
from leverproof.campaign.merge import merge
from leverproof.campaign.model import Block, Outcome, Plan
from leverproof.campaign.plan_file import load_plan
from leverproof.campaign.summary import Fold, Summary
from leverproof.errors import StandError

MODELS = Path(__file__).resolve().parents[1] / "models"
QUICK = 'deadlines = { start = "2.8 s", request = "0.4 s", row = "0.0001 s" }'


@pytest.fixture
def faulty(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module of flyers at fault, which a worker imports too."""
    monkeypatch.syspath_prepend(str(MODELS))
    return importlib.import_module("campaign_faulty")


def flown(plan: Plan, out: Path, *, jobs: int = 2, shard: Shard | None = None) -> Flown:
    with Workers(Flyer(plan), jobs) as workers:
        return fly_campaign(plan, out, workers.run, shard=shard or Shard(), jobs=jobs)


def by_height(out: Path, judgement: str = "higher") -> dict[float, Outcome]:
    return {o.surroundings["pressure_altitude"]: o for o in store.outcomes(out) if o.judgement == judgement}


def test_a_dying_model_costs_exactly_its_own_case(tmp_path: Path, plans: ModuleType) -> None:
    path = plans.write_plan(tmp_path / "p", options={"dies_at": 4000.0})
    assert flown(load_plan(str(path)).plan, tmp_path / "out") == Flown(20, 20, 0)
    found = by_height(tmp_path / "out")
    assert len(found) == 20
    assert {height for height, o in found.items() if o.verdict == "error"} == {4000.0}
    assert "exit code 3" in found[4000.0].trouble
    assert all(o.verdict == "pass" for height, o in found.items() if height != 4000.0)


def test_what_shares_a_block_with_a_dying_model_is_judged_as_it_is_elsewhere(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p", options={"dies_at": 4000.0}))).plan
    for jobs in (1, 3):
        flown(plan, tmp_path / f"out-{jobs}", jobs=jobs)
    assert by_height(tmp_path / "out-1", "full-pressure")[0.0].verdict == "pass"  # with what the step study showed
    assert store.digest(tmp_path / "out-1") == store.digest(tmp_path / "out-3")


def test_a_sample_that_cannot_be_mounted_costs_no_other(tmp_path: Path, plans: ModuleType) -> None:
    more = (
        "[[model.coefficient]]\nname = 'gain'\ndistribution = 'uniform'\nlow = 0.9\nhigh = 1.1\nsource = 'assumption'"
    )
    told = {"options": {"most_gain": 1.003}, "heights": "['0 ft', '500 ft']", "top": "samples = 6", "more": more}
    plan = load_plan(str(plans.write_plan(tmp_path / "p", **told))).plan
    for jobs in (1, 3):
        flown(plan, tmp_path / f"out-{jobs}", jobs=jobs)
    found = {
        (o.coefficients["gain"] > 1.003, o.verdict == "error") for o in store.outcomes(tmp_path / "out-1") if o.sample
    }
    assert found == {(True, True), (False, False)}
    assert store.digest(tmp_path / "out-1") == store.digest(tmp_path / "out-3")


@pytest.mark.parametrize(("times", "lost"), [(1, False), (2, True)])
def test_a_step_study_that_is_lost_is_flown_again_once_and_then_told(
    tmp_path: Path, plans: ModuleType, faulty: ModuleType, times: int, lost: bool
) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p", heights="['0 ft']"))).plan
    for number in range(times):
        (tmp_path / "p" / f"{number}.mark").touch()
    with Workers(faulty.LosesItsStudy(plan), 1) as workers:
        fly_campaign(plan, tmp_path / "out", workers.run, shard=Shard(), jobs=1)
    found = by_height(tmp_path / "out", "full-pressure")[0.0]
    assert found.verdict == ("conditional pass" if lost else "pass")
    assert any("step study was lost" in note for note in tally(tmp_path / "out").notes) == lost


def test_what_is_finished_of_a_block_is_handed_over_before_its_end(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p", options={"pause": 0.05}))).plan
    (block, *_) = expand.blocks(plan, lambda _: True)
    told: list[Block] = []
    with Workers(Flyer(plan), 1) as workers:
        workers.run([block], lambda part, _: told.append(part))
    assert len(block.items) == 20 and len(told) > 1
    assert sorted(item.id for part in told for item in part.items) == sorted(item.id for item in block.items)


def test_what_was_handed_over_is_not_flown_again_when_its_process_ends(
    tmp_path: Path, plans: ModuleType, faulty: ModuleType
) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p", heights="['0 ft', '500 ft', '1000 ft']"))).plan
    (block, *_) = expand.blocks(plan, lambda _: True)
    told: list[Block] = []
    with Workers(faulty.DiesAfterTwo(plan), 1) as workers:
        workers.run([block], lambda part, _: told.append(part))
    assert [item.id for part in told for item in part.items] == [item.id for item in block.items]


@pytest.mark.parametrize("vice", ["dies_at", "raises_at", "spews_at"])
def test_a_model_that_fails_where_everything_is_advisory_is_no_pass(
    tmp_path: Path, plans: ModuleType, vice: str
) -> None:
    path = plans.write_plan(tmp_path / "p", options={vice: 4000.0})
    case = tmp_path / "p" / "cases" / "throttle-step.toml"
    text = case.read_text("utf-8")
    first, last = text.index("[[judgement]]"), text.rindex("[[judgement]]")
    case.write_text(text[:first] + text[last:], "utf-8")  # only the size at sea level is left
    flown(load_plan(str(path)).plan, tmp_path / "out")
    found = by_height(tmp_path / "out", "full-pressure")
    assert {h: o.weight for h, o in found.items() if o.weight == "required"} == {0.0: "required", 4000.0: "required"}
    assert found[4000.0].verdict == ("invalid run" if vice == "spews_at" else "error") and found[0.0].verdict == "pass"
    assert tally(tmp_path / "out").exit_code == 1


def test_a_hanging_model_costs_exactly_its_own_case(
    tmp_path: Path, plans: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("leverproof.campaign.local._MARGIN", 0.2)
    path = plans.write_plan(tmp_path / "p", options={"hangs_at": 4000.0}, stand=QUICK)
    flown(load_plan(str(path)).plan, tmp_path / "out")
    found = by_height(tmp_path / "out")
    assert len(found) == 20
    assert {height for height, o in found.items() if o.verdict == "error"} == {4000.0}
    assert "did not answer for 3 s" in found[4000.0].trouble


def test_workers_blocks_and_lanes_leave_no_trace(tmp_path: Path, plans: ModuleType) -> None:
    path = plans.write_plan(tmp_path / "p", options={}, factory="make")
    plan = load_plan(str(path)).plan
    flown(plan, tmp_path / "one", jobs=1)
    flown(plan, tmp_path / "two", jobs=2)
    assert store.digest(tmp_path / "one") == store.digest(tmp_path / "two")
    lanes = load_plan(str(plans.write_plan(tmp_path / "q", factory="make_lanes"))).plan
    for jobs in (1, 3):
        flown(lanes, tmp_path / f"lanes-{jobs}", jobs=jobs)
    assert store.digest(tmp_path / "lanes-1") == store.digest(tmp_path / "lanes-3")


def told(fold: Fold) -> Summary:
    return fold.summary(title="t", plan="p")


def test_what_is_counted_while_others_fly_is_what_lies_in_the_folder(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p", options={"raises_at": 4000.0}))).plan
    out = tmp_path / "out"
    flown(plan, out, shard=Shard(1, 3))
    damaged = next((out / "results").glob("*.jsonl"))
    kept = damaged.read_bytes().splitlines(keepends=True)
    damaged.write_bytes(b"".join([*kept[:-1], kept[-1].replace(b"verdict", b"vardict", 1)]))
    fold, fresh = Fold(), Fold()
    counting = Counting(fold.add)
    with Workers(Flyer(plan), 2) as workers:
        went = fly_campaign(plan, out, workers.run, shard=Shard(), jobs=2, counting=counting)
    assert 0 < went.before < went.items == went.done
    assert counting.tally() == tally(out, fresh.add)
    assert counting.tally().damages
    assert told(fold) == told(fresh)


def test_a_worker_has_its_next_block_before_the_last_is_counted(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p"))).plan
    blocks = [alone for block in expand.blocks(plan, lambda _: True) for alone in expand.alone(block)][:4]
    order: list[str] = []

    def handed_out() -> Iterator[Block]:
        for number, block in enumerate(blocks):
            order.append(f"give {number}")
            yield block

    with Workers(Flyer(plan), 1) as workers:
        workers.run(handed_out(), lambda *_: order.append("done"), lambda: order.append("between"))
    ends = [at for at, what in enumerate(order) if what == "done"]
    assert len(ends) == 4
    assert [order[at + 1 : at + 3] for at in ends[:-1]] == [[f"give {n}", "between"] for n in (1, 2, 3)]
    assert order[-1] == "between"


def test_shards_hold_every_item_once(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p"))).plan
    ids = [item.id for item in items(plan)]
    parts = [{i for i in ids if Shard(k, 3).holds(i)} for k in (1, 2, 3)]
    assert sorted(i for part in parts for i in part) == sorted(ids)
    assert all(parts)


def test_a_second_run_flies_nothing_and_a_part_only_what_is_left(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p"))).plan
    first = flown(plan, tmp_path / "out", shard=Shard(1, 2))
    rest = flown(plan, tmp_path / "out")
    again = flown(plan, tmp_path / "out")
    assert 0 < first.items < 20
    assert (rest.items, rest.before, rest.done) == (20, first.items, 20)
    assert (again.before, again.done) == (20, 20)
    flown(plan, tmp_path / "whole")
    assert store.digest(tmp_path / "out") == store.digest(tmp_path / "whole")
    assert tally(tmp_path / "out").digest == store.digest(tmp_path / "out")


def test_a_model_that_cannot_be_mounted_is_said_at_once(tmp_path: Path, plans: ModuleType) -> None:
    path = plans.write_plan(tmp_path / "p", factory="nothing_of_the_kind")
    with pytest.raises(StandError, match=r"nothing_of_the_kind.*leverproof run --stand"):
        flown(load_plan(str(path)).plan, tmp_path / "out")


def test_a_model_that_raises_costs_its_own_case(tmp_path: Path, plans: ModuleType) -> None:
    path = plans.write_plan(tmp_path / "p", options={"raises_at": 4000.0})
    flown(load_plan(str(path)).plan, tmp_path / "out")
    found = by_height(tmp_path / "out")
    assert {height for height, o in found.items() if o.verdict == "error"} == {4000.0}
    assert "on strike" in found[4000.0].trouble


def test_coefficients_are_drawn_mounted_and_kept(tmp_path: Path, plans: ModuleType) -> None:
    spread = (
        '[[model.coefficient]]\nname = "gain"\ndistribution = "uniform"\nlow = 0.9\nhigh = 1.1\nsource = "assumption"\n'
    )
    path = plans.write_plan(tmp_path / "p", more=spread, top="samples = 6", heights="['0 ft', '2000 ft']")
    plan = load_plan(str(path)).plan
    flown(plan, tmp_path / "out")
    rows = [o for o in store.outcomes(tmp_path / "out") if o.judgement == "higher"]
    assert len(rows) == 14
    at_sea = {o.sample: o for o in rows if o.surroundings["pressure_altitude"] == 0.0}
    nominal = at_sea[0].found
    assert nominal is not None and at_sea[0].coefficients == {}
    for sample in range(1, 7):
        found, gain = at_sea[sample].found, at_sea[sample].coefficients["gain"]
        assert 0.9 < gain < 1.1
        assert found == pytest.approx(nominal * gain, rel=1e-4)
    assert len({o.coefficients["gain"] for o in at_sea.values() if o.sample}) == 6


def test_away_from_its_own_conditions_a_stated_number_is_advisory(tmp_path: Path, plans: ModuleType) -> None:
    flown(load_plan(str(plans.write_plan(tmp_path / "p"))).plan, tmp_path / "out")
    stated = by_height(tmp_path / "out", "full-pressure")
    assert {h: o.weight for h, o in stated.items() if o.weight == "required"} == {0.0: "required"}
    assert stated[0.0].verdict == "pass" and stated[9500.0].verdict == "fail"
    assert {o.weight for o in by_height(tmp_path / "out").values()} == {"required"}
    assert tally(tmp_path / "out").exit_code == 0


def test_a_model_that_forgets_nothing_is_mounted_anew(tmp_path: Path, plans: ModuleType) -> None:
    flown(load_plan(str(plans.write_plan(tmp_path / "p", factory="make_once"))).plan, tmp_path / "out", jobs=1)
    assert {o.verdict for o in by_height(tmp_path / "out").values()} == {"pass"}


def test_a_fault_of_the_harness_costs_its_own_case_and_says_whose_it_is(
    tmp_path: Path, plans: ModuleType, faulty: ModuleType
) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p"))).plan
    with Workers(faulty.FaultyFlyer(plan), 2) as workers:
        fly_campaign(plan, tmp_path / "out", workers.run, shard=Shard(), jobs=2)
    found = by_height(tmp_path / "out")
    assert {height for height, o in found.items() if o.verdict == "error"} == {1500.0}
    assert "a fault of leverproof" in found[1500.0].trouble and "ZeroDivisionError" in found[1500.0].trouble


def test_errors_are_flown_again_only_when_asked_for_and_that_is_told(tmp_path: Path, plans: ModuleType) -> None:
    """The log folder is missing at first, so that every flight ends in an error that is none of the model's."""
    log, out = tmp_path / "log", tmp_path / "out"
    heights = "['0 ft', '500 ft', '1000 ft']"
    plan = load_plan(str(plans.write_plan(tmp_path / "p", options={"log": str(log)}, heights=heights))).plan
    flown(plan, out)
    assert {o.verdict for o in store.outcomes(out)} == {"error"}
    log.mkdir()
    assert flown(plan, out) == Flown(3, 3, 3)
    with Workers(Flyer(plan), 2) as workers:
        went = fly_campaign(plan, out, workers.run, shard=Shard(), jobs=2, errors_again=True)
    assert went == Flown(3, 3, 0)
    assert {o.verdict for o in store.outcomes(out) if o.judgement == "higher"} == {"pass"}
    (note,) = [note for note in tally(out).notes if "again" in note]
    assert note.startswith("flown again on request, after an error: 3 of the items;")
    merge([out], tmp_path / "merged")
    assert note in tally(tmp_path / "merged").notes
    assert store.digest(tmp_path / "merged") == store.digest(out)


def test_what_could_not_be_mounted_is_tried_again(tmp_path: Path, plans: ModuleType) -> None:
    plan = load_plan(str(plans.write_plan(tmp_path / "p"))).plan
    engine = tmp_path / "p" / "campaign_engine.py"
    hidden = engine.rename(tmp_path / "p" / "hidden.py")
    with pytest.raises(StandError, match="no such file"):
        flown(plan, tmp_path / "out", jobs=1)
    hidden.rename(engine)
    assert flown(plan, tmp_path / "out", jobs=1).done == 20
    assert {o.verdict for o in by_height(tmp_path / "out").values()} == {"pass"}
