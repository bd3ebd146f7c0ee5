"""What does not apply says what is missing and what is lost."""

# ruff: noqa: E501 - inline tables of TOML stay on one line

from collections.abc import Callable
from dataclasses import replace

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import ReferenceCase
from leverproof.conduct.plan import PAUSES, Ground, plan_case

Cases = Callable[..., ReferenceCase]
Grounds = Callable[..., Ground]

VALUE = """what = "value"
reading = "one.end of it"
channel = "{channel}"
expected = {expected}
tolerance = {{ percent = 5, of = "range", reason = "r" }}
{more}"""
SEEK = '{ do = "seek", lever = "boost", channel = "manifold_pressure", value = "40 inHg", within = "0.1 inHg", or = ["stop"], limit = "90 s" },'


@pytest.mark.parametrize(
    ("applies", "without", "missing"),
    [
        ('sheet = { "hardware.link" = ["interlock", "none"] },', (), "hardware.link = mechanical; this needs interlock or none"),
        ('data = ["limits.turbo_speed_tolerance"],', (), "the sheet does not give limits.turbo_speed_tolerance"),
        ('levers = ["coordination"],', (), "the sheet lists no coordination lever"),
        ('levers = ["boost"],', ("boost",), "the stand takes no boost lever"),
        ('channels = ["blade_angle"],', ("blade_angle",), "the stand gives no blade_angle"),
    ],
)  # fmt: skip
def test_conditions_of_a_case(
    applies: str, without: tuple[str, ...], missing: str, case_of: Cases, ground_of: Grounds
) -> None:
    planned = plan_case(case_of(applies=applies), ground_of(without=without))
    assert planned.inapplicable is not None
    assert missing in planned.inapplicable.missing
    assert planned.inapplicable.lost == "all of it"
    assert (planned.points, planned.programs, planned.judgements) == ((), (), ())


def test_conditions_that_are_met_do_not_matter(case_of: Cases, ground_of: Grounds) -> None:
    applies = 'sheet = { "hardware.link" = ["mechanical"] }, data = ["limits.turbo_speed"], levers = ["boost"], channels = ["blade_angle"], capabilities = ["stepped", "deterministic"],'
    assert plan_case(case_of(applies=applies), ground_of()).inapplicable is None


@pytest.mark.parametrize("name", ["stepped", "deterministic", "settable_surroundings"])
def test_capabilities(name: str, case_of: Cases, ground_of: Grounds) -> None:
    kept = tuple({"stepped", "deterministic", "settable_surroundings"} - {name})
    planned = plan_case(case_of(applies=f'capabilities = ["{name}"],'), ground_of(capabilities=kept))
    assert planned.inapplicable is not None
    assert name.replace("_", " ") in planned.inapplicable.missing


@pytest.mark.parametrize(("name", "words"), [("stepped", "its steps are its own"), ("deterministic", "same twice")])
def test_what_a_clock_of_its_own_costs(name: str, words: str, case_of: Cases, ground_of: Grounds) -> None:
    ground = ground_of(capabilities=("free_running", "settable_surroundings"))
    planned = plan_case(case_of(applies=f'capabilities = ["{name}"],'), ground)
    assert planned.inapplicable is not None
    assert "the model runs on its own clock" in planned.inapplicable.missing
    assert words in planned.inapplicable.missing and planned.inapplicable.lost == "all of it"


@pytest.mark.parametrize(
    ("capabilities", "applies"),
    [(("free_running",), False), (("free_running", "reset"), True), (("stepped",), True)],
)
def test_a_stopped_engine_on_a_clock_of_its_own(
    capabilities: tuple[str, ...], applies: bool, case_of: Cases, ground_of: Grounds
) -> None:
    planned = plan_case(replace(case_of(), engine="stopped"), ground_of(capabilities=capabilities))
    assert (planned.inapplicable is None) == applies
    assert applies or "no engine begins stopped" in planned.inapplicable.missing


@pytest.mark.parametrize(
    ("steps", "without", "missing"),
    [
        (SEEK, ("manifold_pressure",), "the stand gives no manifold_pressure"),
        (SEEK, ("boost",), "the stand takes no boost lever"),
        (SEEK.replace("boost", "cowl_flaps"), (), "the sheet gives no rate of the cowl_flaps lever"),
        (SEEK.replace("limit =", 'guard = { blade_angle = "40 deg" }, limit ='), ("blade_angle",), "the stand gives no blade_angle"),
        (SEEK.replace('"40 inHg"', '{ sheet = "limits.turbo_speed_tolerance" }').replace("manifold_pressure", "wastegate_opening").replace("0.1 inHg", "0.1"), (),
         "the sheet does not give limits.turbo_speed_tolerance"),
        ('{ do = "couple" },', ("boost",), "the stand takes no boost lever"),
        ('{ do = "set", true_airspeed = "100 kt" },', ("true_airspeed",), "the stand takes no true_airspeed"),
    ],
)  # fmt: skip
def test_what_the_steps_need(
    steps: str, without: tuple[str, ...], missing: str, case_of: Cases, ground_of: Grounds
) -> None:
    judgements = {"v": VALUE.format(channel="engine_speed", expected='"2000 rpm"', more="")}
    case = case_of(runs=(("one", steps, ""),), judgements=judgements)
    planned = plan_case(case, ground_of(without=without))
    assert planned.inapplicable is not None
    assert planned.inapplicable.missing == missing


def test_surroundings_matter_only_where_they_are_not_nought(case_of: Cases, ground_of: Grounds) -> None:
    ground = ground_of(without=("pressure_altitude", "temperature_offset"))
    assert plan_case(case_of(), ground).inapplicable is None
    high = plan_case(case_of(altitude='"3000 ft"'), ground).inapplicable
    assert high is not None and high.missing == "the stand takes no pressure_altitude"


def test_a_datum_for_the_surroundings(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(altitude='{ sheet = "link.above", plus = "-2000 ft" }')
    assert plan_case(case, ground_of()).programs[0].start["pressure_altitude"] == 5000.0
    text = 'above = { value = "7000 ft", source = "s", doubt = "0 ft" }'
    bare = plan_case(case, ground_of(replaced=((text, ""),))).inapplicable
    assert bare is not None and bare.missing == "the sheet does not give link.above"


def test_a_judgement_may_not_apply_alone(case_of: Cases, ground_of: Grounds) -> None:
    judgements = {
        "seen": VALUE.format(channel="manifold_pressure", expected='"30 inHg"', more=""),
        "unseen": VALUE.format(channel="blade_angle", expected='"20 deg"', more=""),
        "undated": VALUE.format(channel="wastegate_opening", expected='{ sheet = "limits.turbo_speed_tolerance" }', more=""),
        "elsewhere": VALUE.format(channel="manifold_pressure", expected='"30 inHg"', more='applies = { sheet = { "hardware.service" = ["light"] }, lost = "small ones" }'),
    }  # fmt: skip
    planned = plan_case(case_of(judgements=judgements), ground_of(without=("blade_angle",)))
    assert [j.id for j in planned.judgements] == ["seen"]
    told = {name: (why.missing, why.lost) for name, why in planned.inapplicable_judgements.items()}
    assert told["unseen"] == ("the stand gives no blade_angle", "a question")
    assert told["undated"] == ("the sheet does not give limits.turbo_speed_tolerance", "a question")
    assert told["elsewhere"][1] == "small ones"
    assert set(planned.points[0].resolved) == {"seen"}


def test_a_case_none_of_whose_judgements_applies_is_not_flown(case_of: Cases, ground_of: Grounds) -> None:
    planned = plan_case(case_of(), ground_of(without=("manifold_pressure",)))
    assert planned.inapplicable is not None
    assert planned.inapplicable.missing == "the stand gives no manifold_pressure"
    assert planned.programs == ()


TABLE = 'what = "state"\nrun = "one"\nchannel = "turbo_overspeed_light"\ntable = "light"'


@pytest.mark.parametrize("key", ["blinking_above", "off_above", "on_above"])
def test_a_light_table_needs_its_bands(key: str, case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(judgements={"t": TABLE})
    planned = plan_case(case, ground_of())
    assert {k: planned.points[0].resolved["t"][k].value for k in ("blinking_above", "off_above", "on_above")} == {
        "blinking_above": 2500.0, "off_above": 9000.0, "on_above": 18250.0,
    }  # fmt: skip
    bare = plan_case(case, ground_of(replaced=((f"{key} = {{", f"# {key} = {{"),))).inapplicable
    assert bare is not None and bare.missing == f"the sheet does not give light.{key}"


def test_every_shipped_case_says_what_is_lost_when_it_does_not_apply(ground_of: Grounds) -> None:
    nothing = ground_of(without=("throttle", "manifold_pressure", "engine_speed"), capabilities=())
    for case in load_catalogue().cases:
        planned = plan_case(case, nothing)
        reasons = [planned.inapplicable] if planned.inapplicable else list(planned.inapplicable_judgements.values())
        assert all(reason.missing and reason.lost for reason in reasons)


def test_a_pause_needs_time_that_can_be_stopped(case_of: Cases, ground_of: Grounds) -> None:
    """A model on its own clock, and a recording, go on; in a cockpit somebody can stop the simulation."""
    hold = '{ do = "hold", for = "1 s" },'
    case = case_of(runs=(("one", f'{hold} {{ do = "pause", for = "0.5 s" }}, {hold}', ""),))
    for able, refused in (("stepped", False), ("free_running", True), ("deterministic", True), (PAUSES, False)):
        planned = plan_case(case, ground_of(capabilities=(able,)))
        assert (planned.inapplicable is not None) == refused, able
        if planned.inapplicable is not None:
            assert "waiting" in planned.inapplicable.missing and planned.inapplicable.lost == "all of it"


def test_a_refusal_says_all_that_is_to_be_supplied(case_of: Cases, ground_of: Grounds) -> None:
    """Everything at once: nobody finds out one run at a time."""
    applies = (
        'data = ["limits.turbo_speed_tolerance", "geared_stage.ratio_high"], levers = ["cowl_flaps", "boost"], '
        'channels = ["blade_angle", "torque"],'
    )
    refused = plan_case(case_of(applies=applies), ground_of(without=("boost", "blade_angle", "torque"))).inapplicable
    assert refused is not None and refused.missing == "the sheet does not give limits.turbo_speed_tolerance"
    for words in (
        "limits.turbo_speed_tolerance and geared_stage.ratio_high in the sheet",
        "[levers.cowl_flaps] in the sheet, if the engine has it",
        "boost as an input of the model",
        "blade_angle and torque as a reading of the model; [channels] in the stand file",
    ):
        assert words in refused.supply
    other = plan_case(case_of(applies='sheet = { "hardware.link" = ["none"] },'), ground_of()).inapplicable
    assert other is not None and other.supply == "", "an engine of another kind is no lack"


def test_a_case_of_which_nothing_is_left_tells_every_reason(ground_of: Grounds) -> None:
    case = next(c for c in load_catalogue().cases if c.id == "rpm-pulled-back")
    change = (('arrangement = { value = "two_stage"', 'arrangement = { value = "turbo_normalised"'),)
    refused = plan_case(case, ground_of(replaced=change)).inapplicable
    assert refused is not None
    assert "this needs unsupercharged" in refused.missing
    assert "this needs geared_one_speed or geared_two_speed or two_stage" in refused.missing
