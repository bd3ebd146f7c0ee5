"""Cases that move the levers of other engines: what is accepted, when they apply, where those levers begin."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from leverproof.cases.model import ReferenceCase
from leverproof.channels import OTHER_LEVERS
from leverproof.conduct.plan import NEUTRAL, Ground, plan_case
from leverproof.errors import InputError

Cases = Callable[..., ReferenceCase]
Grounds = Callable[..., Ground]

UNMOVED = """what = "unmoved"
runs = ["held", "moved"]
tolerance = { percent = 0.2, of = "range", reason = "r" }"""
HELD = '{ do = "hold", for = "3 s" },'
MOVED = '{ do = "move", other_throttle = "open", other_boost = 0.2, over = "3 s" },'


def pair(case_of: Cases, held: str = HELD, moved: str = MOVED, extra: str = "") -> ReferenceCase:
    return case_of(runs=(("held", held, ""), ("moved", moved, extra)), judgements={"u": UNMOVED})


def several(ground: Ground, *levers: str, held: dict[str, float] | None = None) -> Ground:
    return replace(ground, inputs=ground.inputs | {OTHER_LEVERS[name] for name in levers}, held=held or {})


def test_a_stand_of_one_engine_has_nothing_to_move(case_of: Cases, ground_of: Grounds) -> None:
    reason = plan_case(pair(case_of), ground_of()).inapplicable
    assert reason is not None
    assert (reason.missing, reason.lost) == ("the stand has one engine", "all of it")


def test_the_other_engines_stand_neutral_or_where_they_are_held(case_of: Cases, ground_of: Grounds) -> None:
    ground = several(ground_of(), "throttle", "boost", "mixture", held={"other_throttle": 0.4})
    planned = plan_case(pair(case_of), ground)
    assert planned.inapplicable is None
    for program in planned.programs:
        assert program.start["other_throttle"] == 0.4
        assert program.start["other_mixture"] == NEUTRAL["mixture"]
        assert program.start["throttle"] == 0.3
    assert planned.programs[1].steps[1].levers == {"other_throttle": 1.0, "other_boost": 0.2}


def test_a_lever_that_the_other_engines_lack_is_left_out(case_of: Cases, ground_of: Grounds) -> None:
    planned = plan_case(pair(case_of), several(ground_of(), "throttle"))
    assert planned.programs[1].steps[1].levers == {"other_throttle": 1.0}
    assert "other_boost" not in planned.programs[1].start


@pytest.mark.parametrize(
    ("held", "moved", "words"),
    [
        (HELD, HELD, "moves no lever of another engine"),
        (MOVED, MOVED, "moves a lever of another engine too"),
        (HELD, MOVED + '{ do = "hold", for = "1 s" },', "differ in more than"),
        (HELD, MOVED.replace('"3 s"', '"4 s"'), "differ in more than"),
        (HELD, MOVED + '{ do = "set", throttle = 0.4 },', "differ in more than"),
        (HELD, MOVED.replace('"open"', '"opne"'), "no position 'opne'"),
        (HELD, MOVED.replace("other_throttle", "other_trottle"), "other_trottle"),
        (HELD, MOVED.replace('"open"', "1.5"), "between 0 and 1"),
        (HELD, MOVED.replace('other_throttle = "open"', "other_mixture = 2"), "is set by a word"),
    ],
)
def test_a_case_that_could_show_nothing_is_refused(case_of: Cases, held: str, moved: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        pair(case_of, held, moved)
    assert words in f"{caught.value.message} {caught.value.where}"


def test_the_runs_share_their_grid_and_surroundings(case_of: Cases) -> None:
    for extra in ("grid = 2", 'surroundings = { pressure_altitude = "3000 ft" }'):
        with pytest.raises(InputError, match="differ in more than"):
            pair(case_of, extra=extra)
