"""Every number of a case is resolved before anything moves, and none of the expected ones reaches the model."""

# ruff: noqa: E501 - inline tables of TOML stay on one line

import dataclasses
from collections.abc import Callable

import pytest

from leverproof.atmosphere import density_at_feet, pressure_at_feet, temperature_at_feet
from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import ReferenceCase
from leverproof.channels import LEVERS, READINGS, SURROUNDINGS
from leverproof.conduct.model import Expected, PlannedCase, PlannedStep, Program
from leverproof.conduct.plan import NEUTRAL, Ground, plan_case
from leverproof.conduct.resolvability import resolvability
from leverproof.quantities import convert

Cases = Callable[..., ReferenceCase]
Grounds = Callable[..., Ground]

VALUE = """what = "value"
reading = "{run}.end of it"
channel = "{channel}"
expected = {expected}
tolerance = {{ {tolerance}, reason = "r" }}"""


def value(expected: str, *, run: str = "one", channel: str = "manifold_pressure", tolerance: str = "") -> str:
    return VALUE.format(
        run=run, channel=channel, expected=expected, tolerance=tolerance or 'absolute = "0.5 inHg"'
    )


def resolved(planned: PlannedCase, judgement: str, key: str = "expected", point: int = 0) -> Expected:
    return planned.points[point].resolved[judgement][key]


def test_units_become_the_channels_own(case_of: Cases, ground_of: Grounds) -> None:
    planned = plan_case(case_of(judgements={"a": value('"101.325 kPa"')}), ground_of())
    assert resolved(planned, "a").value == pytest.approx(29.9213, abs=1e-4)


def test_sheet_datum_times_plus_and_doubt(case_of: Cases, ground_of: Grounds) -> None:
    ground = ground_of(
        replaced=((
            'manifold_pressure = { value = "52 inHg", source = "s", doubt = "0 inHg" }',
            'manifold_pressure = { value = "52 inHg", source = "the plate", doubt = "0.4 inHg", from_model = true }',
        ),)
    )  # fmt: skip
    expected = '{ sheet = "takeoff.manifold_pressure", times = 0.5, plus = "-10 kPa" }'
    planned = plan_case(case_of(judgements={"a": value(expected)}), ground)
    found = resolved(planned, "a")
    assert found.value == pytest.approx(26.0 - 10_000.0 / 3386.389)
    assert found.doubt == pytest.approx(0.2)
    assert (found.source, found.from_model) == ("the plate", True)


def test_a_doubt_nobody_stated_stays_unknown(case_of: Cases, ground_of: Grounds) -> None:
    ground = ground_of(replaced=((', doubt = "15 hp", from_model', ", from_model"),))
    case = case_of(
        judgements={
            "a": value(
                '{ sheet = "split_lever.advantage" }', channel="brake_power", tolerance='absolute = "5 hp"'
            )
        }
    )
    assert resolved(plan_case(case, ground), "a").doubt is None


def test_temperature_data_scale_as_absolute_and_doubts_as_differences(
    case_of: Cases, ground_of: Grounds
) -> None:
    body = value(
        '{ sheet = "limits.carburettor_air_temperature", plus = "9 degF" }',
        channel="carburettor_air_temperature",
        tolerance='absolute = "3.6 degF"',
    )
    ground = ground_of(
        replaced=((
            'value = "45 degC", source = "s", doubt = "0 K"',
            'value = "113 degF", source = "s", doubt = "1.8 degF"',
        ),)
    )  # fmt: skip
    planned = plan_case(case_of(judgements={"a": body}), ground)
    assert resolved(planned, "a").value == pytest.approx(50.0)
    assert resolved(planned, "a").doubt == pytest.approx(1.0)
    assert planned.programs[0].watch["carburettor_air_temperature"] == pytest.approx(2.0 / 5.0)


def test_standard_atmosphere_at_the_points_own_height_and_offset(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(
        sweep='[sweep.altitude]\npoints = ["0 ft", "10000 ft", "20000 ft"]\n',
        altitude='{ sweep = "altitude" }',
        offset='"20 K"',
        judgements={
            "p": value(
                '{ standard = "ambient_pressure" }',
                channel="ambient_pressure",
                tolerance='absolute = "0.1 inHg"',
            ),
            "t": value(
                '{ standard = "ambient_temperature" }',
                channel="ambient_temperature",
                tolerance='absolute = "1 K"',
            ),
        },
    )
    planned = plan_case(case, ground_of())
    for index, height in enumerate((0.0, 10_000.0, 20_000.0)):
        pressure = convert(float(pressure_at_feet(height)), "Pa", "inHg")
        assert resolved(planned, "p", point=index).value == pytest.approx(pressure)
        assert resolved(planned, "t", point=index).value == pytest.approx(
            float(temperature_at_feet(height, 20.0)) - 273.15
        )
    assert resolved(planned, "p").source == "U.S. Standard Atmosphere, 1976"


def test_standard_follows_the_surroundings_of_the_run_it_is_read_in(
    case_of: Cases, ground_of: Grounds
) -> None:
    case = case_of(
        runs=(
            ("one", "", ""),
            ("two", "", 'surroundings = { pressure_altitude = "3 km", temperature_offset = "-10 K" }'),
        ),
        judgements={
            "low": value('{ standard = "ambient_pressure" }'),
            "high": value('{ standard = "ambient_pressure" }', run="two"),
            "ratio": value(
                '{ standard = "unsupercharged_power_ratio" }',
                run="two",
                channel="brake_power",
                tolerance="absolute = 0.05",
            )
            + '\nrelative_to = "one.end of it"',
        },
    )
    planned = plan_case(case, ground_of())
    assert resolved(planned, "low").value == pytest.approx(29.9213, abs=1e-4)
    height = 3000.0 / 0.3048
    assert resolved(planned, "high").value == pytest.approx(float(pressure_at_feet(height)) / 3386.389)
    sigma = float(density_at_feet(height, -10.0)) / 1.225
    assert resolved(planned, "ratio").value == pytest.approx(sigma - (1.0 - sigma) / 7.55, abs=1e-4)
    starts = {program.key[2]: program.start for program in planned.programs}
    assert starts["one"]["pressure_altitude"] == 0.0
    assert starts["two"]["pressure_altitude"] == pytest.approx(height)
    assert starts["two"]["temperature_offset"] == -10.0


@pytest.mark.parametrize(("written", "kelvin"), [('"10 K"', 10.0), ('"10 degC"', 10.0), ('"18 degF"', 10.0)])
def test_a_temperature_offset_is_a_difference(
    written: str, kelvin: float, case_of: Cases, ground_of: Grounds
) -> None:
    planned = plan_case(case_of(offset=written), ground_of())
    assert planned.programs[0].start["temperature_offset"] == pytest.approx(kelvin)


def test_levers_not_named_stand_neutral_and_those_named_where_asked(
    case_of: Cases, ground_of: Grounds
) -> None:
    steps = '{ do = "set", mixture = "cut_off", propeller = "coarse", throttle = { sheet = "limits.turbo_speed_tolerance" } },'
    ground = ground_of(
        replaced=(("[limits]", '[limits]\nturbo_speed_tolerance = { value = "1 %", source = "s" }'),)
    )
    program = plan_case(case_of(runs=(("one", steps, ""),)), ground).programs[0]
    assert set(program.start) == {*LEVERS, *SURROUNDINGS}
    assert program.start["throttle"] == 0.3
    assert {k: v for k, v in program.start.items() if k != "throttle"} == {
        k: v for k, v in NEUTRAL.items() if k != "throttle"
    }
    assert program.steps[1].levers == {"mixture": 0.0, "propeller": 0.0, "throttle": pytest.approx(0.01)}


def test_levers_the_stand_lacks_are_left_out(case_of: Cases, ground_of: Grounds) -> None:
    steps = '{ do = "move", boost = 0.5, throttle = 0.6, over = "2 s" },'
    ground = ground_of(without=("boost", "cowl_flaps"))
    program = plan_case(case_of(runs=(("one", steps, ""),)), ground).programs[0]
    assert "boost" not in program.start
    assert program.steps[1].levers == {"throttle": 0.6}


def test_watch_is_a_fifth_of_the_tightest_tolerance(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(
        judgements={
            "loose": value('"40 inHg"', tolerance='absolute = "5 inHg"'),
            "tight": value('"40 inHg"', tolerance='absolute = "2 kPa"'),
            "part": value('"1000 hp"', channel="brake_power", tolerance='percent = 3, of = "expected"'),
            "range": value('"9000 rpm"', channel="turbo_speed", tolerance='percent = 1, of = "range"'),
            "both": value(
                '"200 lb/h"',
                channel="fuel_flow",
                tolerance='absolute = "4 lb/h", percent = 10, of = "expected"',
            ),
        }
    )
    watch = plan_case(case, ground_of()).programs[0].watch
    assert watch["manifold_pressure"] == pytest.approx(2000.0 / 3386.389 / 5.0)
    assert watch["brake_power"] == pytest.approx(30.0 / 5.0)
    assert watch["turbo_speed"] == pytest.approx(250.0 / 5.0)
    assert watch["fuel_flow"] == pytest.approx(20.0 / 5.0)
    assert watch["engine_speed"] == pytest.approx(12.0)


def test_watch_of_a_limit_takes_its_percentage_of_the_limit(case_of: Cases, ground_of: Grounds) -> None:
    body = """what = "limit"
run = "one"
channel = "turbo_speed"
at_most = { sheet = "limits.turbo_speed" }
tolerance = { percent = 1, of = "expected", reason = "r" }"""
    watch = plan_case(case_of(judgements={"a": body}), ground_of()).programs[0].watch
    assert watch["turbo_speed"] == pytest.approx(182.5 / 5.0)


SEEK = (
    '{ do = "seek", name = "s", lever = "boost", channel = "manifold_pressure", value = "40 inHg", '
    'within = "0.1 inHg", or = ["stop", "turbo_speed limit"], limit = "90 s" },'
)


def test_turbo_speed_is_guarded_only_where_nothing_governs_it(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(runs=(("one", SEEK, ""),))
    free = plan_case(case, ground_of()).programs[0].steps[1]
    assert free.guard == {"turbo_speed": 18250.0}
    governed = ground_of(
        replaced=(('overspeed_protection = { value = "none"', 'overspeed_protection = { value = "governor"'),)
    )
    assert plan_case(case, governed).programs[0].steps[1].guard == {}
    blind = plan_case(case, ground_of(without=("turbo_speed",))).programs[0].steps[1]
    assert blind.guard == {}


def test_a_stated_guard_holds_even_where_a_governor_is(case_of: Cases, ground_of: Grounds) -> None:
    steps = SEEK.replace("limit = ", 'guard = { turbo_speed = "9000 rpm" }, limit = ')
    governed = ground_of(
        replaced=(('overspeed_protection = { value = "none"', 'overspeed_protection = { value = "governor"'),)
    )
    case = case_of(runs=(("one", steps, ""),))
    assert plan_case(case, governed).programs[0].steps[1].guard == {"turbo_speed": 9000.0}


def test_a_seek_uses_the_sheets_rate_unless_it_states_one(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(
        runs=(
            ("one", SEEK + SEEK.replace('"s"', '"t"').replace("limit = ", 'rate = "6 1/min", limit = '), ""),
        )
    )
    steps = plan_case(case, ground_of()).programs[0].steps
    assert [step.rate for step in steps[1:3]] == [0.05, pytest.approx(0.1)]
    assert [step.limit for step in steps[1:3]] == [90 * 36_000] * 2


def test_half_the_grid_step(case_of: Cases, ground_of: Grounds) -> None:
    body = """what = "grid_step"
runs = ["one", "two"]
tolerance = { percent = 0.2, of = "range", reason = "r" }
time_tolerance = 2"""
    case = case_of(runs=(("one", "", ""), ("two", "", "grid = 2")), judgements={"a": body})
    grids = {p.key[2]: p.grid.step for p in plan_case(case, ground_of()).programs}
    assert grids == {"one": 1800, "two": 900}
    odd = plan_case(case, ground_of(step=1125)).inapplicable
    assert odd is not None and "cannot be halved" in odd.missing


def test_a_crossing_is_in_the_unit_of_the_sweep(case_of: Cases, ground_of: Grounds) -> None:
    body = """what = "crossing"
channel = "manifold_pressure"
reading = "one.end of it"
over = "height"
at = "30 inHg"
expected = "3 km"
tolerance = { absolute = "100 m", reason = "r" }"""
    case = case_of(
        sweep='[sweep.height]\npoints = ["0 km", "2 km", "4 km"]\n',
        altitude='{ sweep = "height" }',
        judgements={"a": body},
    )
    planned = plan_case(case, ground_of())
    assert [p.variable for p in planned.points] == pytest.approx([0.0, 6561.68, 13123.36])
    assert planned.points[1].surroundings["pressure_altitude"] == pytest.approx(6561.68)
    assert resolved(planned, "a").value == pytest.approx(9842.52)


def numbers_in_words(program: Program) -> list[str]:
    """All floats a program carries, as text, with the field they stand in."""
    found = []
    for step in program.steps:
        for field in dataclasses.fields(PlannedStep):
            held = getattr(step, field.name)
            for number in held.values() if isinstance(held, dict) else [held]:
                if isinstance(number, float):
                    found.append(f"{field.name}={number:.6g}")
    return found


def test_expected_values_never_are_in_a_program(case_of: Cases, ground_of: Grounds) -> None:
    marked = value('"37.6543 inHg"', tolerance='absolute = "0.7654321 inHg"')
    program = plan_case(case_of(runs=(("one", SEEK, ""),), judgements={"a": marked}), ground_of()).programs[0]
    assert "37.6543" not in repr(program)
    assert "0.7654321" not in repr(program)
    fields = {word.split("=")[0] for word in numbers_in_words(program)}
    assert fields <= {"levers", "value", "within", "guard", "rate", "lead"}
    assert {f.name for f in dataclasses.fields(Program)} == {
        "key",
        "engine",
        "start",
        "steps",
        "grid",
        "watch",
    }


def test_no_shipped_expectation_reaches_a_program_but_as_a_target_or_guard(ground_of: Grounds) -> None:
    """A marked sheet datum that only judgements use leaves every program as it was."""
    ground = ground_of()
    marked = ground_of(replaced=(('"95 hp"', '"96.123 hp"'), ('"4 s", source', '"4.321 s", source')))
    for case in load_catalogue().cases:
        one, other = plan_case(case, ground), plan_case(case, marked)
        for a, b in zip(one.programs, other.programs, strict=True):
            assert (a.start, a.steps) == (b.start, b.steps)


def test_every_shipped_case_plans_on_every_shipped_sheet(ground_of: Grounds) -> None:
    planned = [plan_case(case, ground_of()) for case in load_catalogue().cases]
    assert sum(bool(p.programs) for p in planned) >= 25
    for p in planned:
        assert bool(p.programs) == (p.inapplicable is None)
        for program in p.programs:
            assert set(program.start) == {*LEVERS, *SURROUNDINGS}
            assert all(limit > 0.0 for limit in program.watch.values())
            assert set(program.watch) <= set(READINGS)


def test_resolvability_is_told_for_each_difference(case_of: Cases, ground_of: Grounds) -> None:
    body = """what = "difference"
channel = "brake_power"
more = "one.end of it"
less = "two.end of it"
at_least = "5 kW"
"""
    case = case_of(runs=(("one", "", ""), ("two", "", "")), judgements={"d": body, "v": value('"30 inHg"')})
    (line,) = resolvability(plan_case(case, ground_of()))
    assert line["sees"] == pytest.approx(4.0 * 2.0**0.5 / 3.0**0.5)
    assert (line["case"], line["judgement"], line["unit"]) == ("made-up", "d", "hp")
    assert line["effect"] == "at least 6.70511 hp"
    assert resolvability(plan_case(case, ground_of(without=("brake_power", "manifold_pressure")))) == []
