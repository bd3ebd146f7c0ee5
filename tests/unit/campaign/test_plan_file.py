"""PLAN.toml: what it says, and what is refused, where, with what advice."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from leverproof.campaign.expand import blocks, count, items, points, study_blocks
from leverproof.campaign.model import Item, Plan
from leverproof.campaign.plan_file import load_plan, parse_plan
from leverproof.cases.catalogue import load_catalogue
from leverproof.errors import InputError, LeverproofError
from leverproof.toml_file import parse_toml

GAIN = "[[model.coefficient]]\nname = 'gain'\ndistribution = 'uniform'\nlow = 0.9\nhigh = 1.1\nsource = 'assumption'\n"


@pytest.fixture(autouse=True, scope="module")
def once() -> Iterator[None]:
    """The shipped cases are read once, not for each plan."""
    known = cache(load_catalogue)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "leverproof.campaign.plan_file.load_catalogue", lambda folders, *, shipped=None: known(tuple(folders))
        )
        yield


def test_only_the_shipped_cases_that_may_be_meant_are_read() -> None:
    whole = load_catalogue()
    few = load_catalogue(shipped=lambda name: name.startswith("idle-"))
    assert [case for case in whole.cases if case.id.startswith("idle-")] == list(few.cases)
    for case in whole.cases:
        assert case.path.endswith(f"/{case.id}.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, plans: ModuleType) -> Path:
    path: Path = plans.write_plan(tmp_path_factory.mktemp("plan"))
    return path.parent


def read(folder: Path, text: str) -> Plan:
    return parse_plan(text, str(folder / "plan.toml")).plan


def text_of(folder: Path, **changes: str) -> str:
    text = (folder / "plan.toml").read_text()
    for old, new in changes.items():
        assert OLD[old] in text
        text = text.replace(OLD[old], new)
    return text


OLD = {
    "heights": "pressure_altitude = { from = '0 ft', to = '9500 ft', step = '500 ft' }",
    "title": 'title = "steps over height"\n',
    "stand": 'stand = "stand.toml"\n',
    "folders": 'folders = ["cases"]',
    "select": 'select = ["throttle-step"]',
}


def test_a_plan_of_every_kind(folder: Path) -> None:
    text = text_of(
        folder,
        title='title = "all"\nseed = 3\nsamples = 4\n',
        stand=f'stand = "stand.toml"\ntitle = "mine"\nsheets = ["corrie-18-early", "rill-6"]\n{GAIN}'
        '[[model]]\nembedded = "rill-6"\ndefect = "exhaust-heat-ignores-mixture"\n',
        heights="pressure_altitude = ['0 ft', '1000 m']\n"
        "temperature_offset = { from = '-9 K', to = '9 degF', step = '7 K' }",
    )
    plan = read(folder, text)
    assert [m.title for m in plan.models] == ["mine", "embedded reference engine, rill-6"]
    assert [m.sheets for m in plan.models] == [("corrie-18-early", "rill-6"), ("rill-6",)]
    assert plan.swept[0].values == pytest.approx((0.0, 3280.8399))
    assert plan.swept[1].values == pytest.approx((-9.0, -2.0, 5.0))
    own = list(items(plan))
    assert len(own) == 2 * 5 * 6 + 6 == count(plan)
    assert len({item.id for item in own}) == len(own)
    assert len(list(study_blocks(plan))) == 3


def test_cases_that_leave_different_surroundings_free_are_counted_as_they_are_made(folder: Path) -> None:
    text = text_of(folder, select='select = ["throttle-step", "idle-speed", "level-speed", "hot-day-*"]')
    heights = "pressure_altitude = ['0 ft', '1000 ft', '2000 ft']\ntemperature_offset = ['0 K', '5 K']"
    plan = read(folder, text.replace(OLD["heights"], heights))
    free = {len(list(points(case, plan.swept))) for case in plan.cases.values()}
    assert len(free) > 1
    assert count(plan) == len(list(items(plan)))


def test_a_range_ends_where_it_says(folder: Path) -> None:
    steps = "pressure_altitude = { from = '0 ft', to = '0.3 ft', step = '0.1 ft' }"
    assert read(folder, text_of(folder, heights=steps)).swept[0].values == pytest.approx((0.0, 0.1, 0.2, 0.3))
    # Thirds written with few digits end where they are meant to.
    steps = "pressure_altitude = { from = '0 ft', to = '9999.99 ft', step = '3333.333 ft' }"
    assert len(read(folder, text_of(folder, heights=steps)).swept[0].values) == 4


@pytest.mark.parametrize(
    ("changes", "where", "words", "hint"),
    [
        ({"stand": 'stand = "stnad.toml"\n'}, "model[0].stand", "no such stand file", "as seen from the plan"),
        ({"stand": 'embedded = "rill-7"\n'}, "model[0].embedded", "no embedded engine 'rill-7'", "rill-6"),
        (
            {"stand": 'stand = "stand.toml"\nsheets = ["corrie-18-erly"]\n'},
            "model[0].sheets[0]",
            "no engine sheet",
            "corrie-18-early",
        ),
        ({"stand": 'stand = "stand.toml"\ndefect = "x"\n'}, "model[0].defect", "no seeded defect", ""),
        ({"stand": 'stand = "stand.toml"\nengine = 2\n'}, "model[0].engine", "", ""),
        ({"stand": 'stand = "stand.toml"\n[[model]]\nstand = "stand.toml"\n'}, "model", "two models are", "title"),
        ({"stand": f'stand = "stand.toml"\n{GAIN}'}, "", "nothing says how often", "samples"),
        ({"title": "title = 'x'\nsamples = 3\n"}, "samples", "no model has a coefficient", ""),
        (
            {"title": "title = 'x'\nsamples = 3\n", "stand": 'stand = "stand.toml"\n' + GAIN.replace("gain", "gian")},
            "model[0].coefficient[0].name",
            "no coefficient 'gian'",
            "gain",
        ),
        (
            {
                "title": "title = 'x'\nsamples = 3\n",
                "stand": 'embedded = "rill-6"\n' + GAIN.replace("gain", "friction_konstant"),
            },
            "model[0].coefficient[0].name",
            "no coefficient 'friction_konstant'",
            "friction_constant",
        ),
        (
            {"title": "title = 'x'\nsamples = 3\n", "stand": f'stand = "stand.toml"\n{GAIN}{GAIN}'},
            "model[0].coefficient[1].name",
            "gain is there twice",
            "",
        ),
        (
            {"select": 'subjects = ["throttle"]', "folders": 'folders = ["caes"]'},
            "cases.folders[0]",
            "is not a folder",
            "from the plan",
        ),
        ({"select": 'select = ["throttle-stop"]'}, "cases.select[0]", "no case fits", "throttle-step"),
        ({"select": 'subjects = ["bost"]'}, "cases.subjects[0]", "no subject", "boost"),
        ({"select": 'select = ["throttle-step"]\nsubjects = ["boost control"]'}, "cases", "no case is of", ""),
        ({"heights": "pressure_altitude = ['0 ft', '0 m']"}, "pressure_altitude[1]", "twice", ""),
        ({"heights": "pressure_altitude = ['5 hp']"}, "pressure_altitude[0]", "power", ""),
        ({"heights": "pressure_altitude = ['90000 ft']"}, "pressure_altitude[0]", "lies between", ""),
        ({"heights": "pressure_altitude = { from = '9 ft', to = '3 ft', step = '1 ft' }"}, "to", "reversed", ""),
        ({"heights": "pressure_altitude = { from = '0 ft', to = '3 ft', step = '0 ft' }"}, "step", "leads nowhere", ""),
        ({"heights": "pressure_altitude = { from = '0 ft', to = '9000 ft', step = '0.01 ft' }"}, "step", "100,000", ""),
        (
            {"heights": "pressure_altitude = { from = '0 ft', to = '10000 ft', step = '3000 ft' }"},
            "to",
            "3 steps of '3000 ft' end before '10000 ft'",
            "whole number of steps",
        ),
        ({"heights": "pressure_altitude = { from = '0 ft', to = '9 ft' }"}, "altitude", "'step' is missing", "2500 ft"),
        ({"heights": "pressure_altitude = []"}, "altitude", "must not be empty", "'5000 ft'"),
        ({"stand": "title = 'y'\n"}, "model[0]", "one of the keys 'stand' or 'embedded' is missing", "add one"),
        ({"stand": "stand = 'a'\nembedded = 'b'\n"}, "model[0]", "'stand' and 'embedded' exclude", "keep one"),
        ({"heights": "presure_altitude = ['0 ft']"}, "surroundings.presure", "unknown key", "pressure_altitude"),
        ({"title": 'titel = "x"\n'}, "titel", "unknown key", "title"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_place(
    folder: Path, changes: dict[str, str], where: str, words: str, hint: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(folder, text_of(folder, **changes))
    assert "plan.toml" in caught.value.where and where in caught.value.where
    assert words in caught.value.message
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    ("spread", "words"),
    [
        ("distribution = 'uniform'\nlow = 1\nhigh = 1", "low must lie below high"),
        ("distribution = 'uniform'\nlow = 0\nhigh = 1\nmean = 0.5", "has no mean"),
        ("distribution = 'normal'\nlow = 0\nhigh = 1\nmean = 0.5", "needs the key 'deviation'"),
        ("distribution = 'normal'\nlow = 0\nhigh = 1\nmean = 9\ndeviation = 0.1", "less than a thousandth"),
        ("distribution = 'triangular'\nlow = 0\nhigh = 1\nmode = 2", "outside low and high"),
        ("distribution = 'gamma'\nlow = 0\nhigh = 1", "is not one of"),
    ],
)
def test_spreads_that_are_none(folder: Path, spread: str, words: str) -> None:
    told = f"[[model.coefficient]]\nname = 'gain'\nsource = 'assumption'\n{spread}\n"
    text = text_of(folder, title="title = 'x'\nsamples = 3\n", stand=f'stand = "stand.toml"\n{told}')
    with pytest.raises(InputError, match=words):
        read(folder, text)


def test_a_spread_without_a_source_is_refused(folder: Path) -> None:
    told = GAIN.replace("source = 'assumption'\n", "")
    with pytest.raises(InputError, match="the key 'source' is missing"):
        read(folder, text_of(folder, title="title = 'x'\nsamples = 3\n", stand=f'stand = "stand.toml"\n{told}'))


def test_a_surrounding_that_no_case_leaves_free_is_refused(folder: Path) -> None:
    text = text_of(folder, select='select = ["boost-travel"]')
    with pytest.raises(InputError, match="no case selected leaves pressure_altitude free: boost-travel sweeps"):
        read(folder, text)


def test_a_stand_that_takes_no_coefficients_is_refused_and_says_why(tmp_path: Path, plans: ModuleType) -> None:
    path = plans.write_plan(tmp_path, top="samples = 2", more=GAIN)
    stand = tmp_path / "stand.toml"
    mounted = 'kind = "in_process"\ntarget = "campaign_engine.py:make"'
    told = stand.read_text().replace(mounted, 'kind = "stdio"\ncommand = ["x"]')
    stand.write_text(told)
    with pytest.raises(InputError, match="it has no coefficient_argument"):
        load_plan(str(path))
    stand.write_text(told.replace('command = ["x"]', 'command = ["x"]\ncoefficient_argument = "--set"'))
    assert load_plan(str(path)).plan.models[0].coefficients[0].name == "gain"


def test_blocks_hold_every_item_once_and_know_their_bounds(folder: Path) -> None:
    plan = read(folder, text_of(folder))
    whole = [item.id for item in items(plan)]
    sizes = {}
    for jobs in (1, 3, 50):
        made = list(blocks(plan, lambda _: True, left=len(whole), jobs=jobs))
        assert [item.id for block in made for item in block.items] == whole
        sizes[jobs] = [len(block.items) for block in made]
    assert sizes == {1: [10, 5, 3, 1, 1], 3: [4, 4, 4, 2, 2, 2, 1, 1], 50: [1] * 20}
    laned = list(blocks(plan, lambda _: True, left=len(whole), jobs=3, lanes={(0, "corrie-18-early"): 8}))
    assert [len(block.items) for block in laned] == [7, 7, 6]
    small = list(blocks(plan, lambda _: True, left=len(whole), most_seconds=100.0))
    assert max(block.seconds for block in small) <= 100.0 and len(small) > 3


def test_ids_follow_content_and_nothing_else(folder: Path, tmp_path: Path, plans: ModuleType) -> None:
    def ids(plan: Plan) -> dict[float, str]:
        return {item.surroundings["pressure_altitude"]: item.id for item in items(plan)}

    plan = read(folder, text_of(folder))
    there = ids(plan)
    assert ids(load_plan(str(plans.write_plan(tmp_path / "elsewhere"))).plan) == there
    fewer = read(folder, text_of(folder, title="title = 'other words'\n", heights="pressure_altitude = ['500 ft']"))
    assert ids(fewer) == {500.0: there[500.0]}
    assert fewer.digest != plan.digest
    renamed = read(folder, "# a remark\n" + text_of(folder))
    assert renamed.digest == plan.digest
    changed = plans.write_plan(tmp_path / "changed")
    model = tmp_path / "changed" / "campaign_engine.py"
    model.write_text(model.read_text() + "\n# another version\n")
    assert not set(ids(load_plan(str(changed)).plan).values()) & set(there.values())


def test_what_is_drawn_is_in_the_ids_of_the_samples(folder: Path) -> None:
    def ids(spread: str) -> list[str]:
        top = "title = 'x'\nsamples = 1\n"
        text = text_of(
            folder, title=top, stand=f'stand = "stand.toml"\n{spread}', heights="pressure_altitude = ['0 ft']"
        )
        return [item.id for item in items(read(folder, text))]

    (nominal, one), (same, other) = ids(GAIN), ids(GAIN.replace("1.1", "1.2"))
    assert nominal == same
    assert one != other


@given(st.integers(0, 2**32 - 1))
@seed(8)
@settings(max_examples=200, deadline=None)
def test_spoilt_plans_load_or_are_refused_in_words(folder: Path, mutants: ModuleType, number: int) -> None:
    tables = parse_toml(
        text_of(
            folder,
            title='title = "all"\nseed = 3\nsamples = 2\n',
            stand=f'stand = "stand.toml"\ntitle = "mine"\nsheets = ["corrie-18-early"]\n{GAIN}',
        ),
        "plan.toml",
    )
    choose = random.Random(number)
    text = mutants.spoil(tables, choose.choice(list(mutants.EVERY)), choose)
    if text is None:
        return
    try:
        plan = read(folder, text)
    except LeverproofError as problem:
        assert problem.message
        assert "plan.toml" in problem.where or "stand.toml" in problem.where
        return
    made: list[Item] = list(items(plan)) if plan.samples < 10 else []
    assert len({item.id for item in made}) == len(made)
