"""The pilot: trim, moves, reads, coupling, marks. Flown through the scheduler, which adds nothing to them."""

import math
from itertools import pairwise

import numpy as np
import pytest
from plants import GRID, START, WATCH, Kind, PlantStand, boost_seek, program, read, s

from leverproof.conduct.looks import answers
from leverproof.conduct.model import Block, PlannedStep
from leverproof.conduct.pilot import Cut, pilot
from leverproof.conduct.scheduler import conduct
from leverproof.history import AFTER, take_reading


def flown(kind, *steps, **options):
    return conduct([program(*steps, **options)], PlantStand(kind))[0].history


def move(seconds, **levers):
    return PlannedStep("move", name="move", levers=levers, duration=s(seconds))


def hold(seconds, name="hold"):
    return PlannedStep("hold", name=name, duration=s(seconds))


def put(**levers):
    return PlannedStep("set", name="set", levers=levers)


def test_trim_of_a_steady_start_is_short():
    trim = flown(Kind()).mark("start")
    assert (trim.kind, trim.row) == ("trim", 0)
    assert 5.0 <= trim.end * 0.05 <= 6.0


def test_trim_waits_for_a_steady_start():
    stand = PlantStand(Kind(lag=3.0))
    begun = stand.session.initialise

    def off(*asked):
        first = begun(*asked)
        stand.session.plants[0].first[0] += 10.0
        return first

    stand.session.initialise = off
    history = conduct([program(read())], stand)[0].history
    assert history.ending == "completed"
    assert 15.0 < history.mark("start").end * 0.05 < 30.0


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (Kind(cycle=0.5, period=1.5), "manifold_pressure oscillates by 0.5"),
        (Kind(spoils=lambda t: t > 250.0, cycle=100.0, period=1500.0), "manifold_pressure drifts"),
    ],
)
def test_a_start_that_does_not_settle_is_an_invalid_run(kind, words):
    history = flown(kind, read())
    assert history.ending == "invalid"
    assert "not steady after 180 s of trim" in history.trouble
    assert words in history.trouble
    assert history.mark("start").end * 0.05 == pytest.approx(180.0)


def test_channels_the_stand_lacks_are_not_waited_for():
    assert flown(Kind(), read(), watch={**WATCH, "fuel_flow": 1.0}).ending == "completed"


def test_set_jumps_and_move_ramps():
    history = flown(Kind(), put(boost=0.5), hold(1.0), move(2.0, throttle=0.7, pressure_altitude=9000.0), hold(1.0))
    at = history.mark("set")
    assert at.row == at.end
    boost = history.column("boost")
    assert boost[at.row - 1] == pytest.approx(0.2)
    assert boost[at.row] == pytest.approx(0.5)
    ramp = history.mark("move")
    throttle = history.column("throttle")[ramp.row : ramp.end]
    assert ramp.end - ramp.row == 40
    assert throttle == pytest.approx(0.3 + 0.4 * (np.arange(40) + 0.5) / 40.0, abs=1e-6)
    altitude = history.column("pressure_altitude")
    assert altitude[ramp.row : ramp.end].mean() == pytest.approx(8500.0)
    assert altitude[ramp.end] == 9000.0


def test_discrete_levers_jump_and_continuous_ones_stay_between_their_stops():
    history = flown(Kind(), move(1.0, mixture=0.0, throttle=1.7), hold(1.0), put(throttle=-0.3), hold(0.5))
    at = history.mark("move").row
    assert set(history.column("mixture")[at:].tolist()) == {0.0}
    assert history.column("throttle").max() == 1.0
    assert history.column("throttle")[-1] == 0.0


def test_inputs_and_outputs_keep_the_row_convention():
    history = flown(Kind(lag=0.01), hold(1.0), put(boost=0.6), hold(1.0))
    row = history.mark("set").row
    pressure = history.column("manifold_pressure")
    assert pressure[row] == pytest.approx(30.5)
    assert pressure[row + 1] == pytest.approx(42.5, abs=0.2)
    assert history.data.dtype == np.float32


def test_a_reading_is_taken_once_steady_and_again_from_the_history_bit_for_bit():
    history = flown(Kind(lag=2.5, noise=0.01), put(boost=0.6), read(), put(boost=0.1), hold(2.0))
    reading = history.reading("settled")
    assert reading.unsteady == {}
    again = take_reading(history.data, history.columns, history.grid, reading.row, name="settled", watch=WATCH)
    assert again == reading
    assert reading.values["manifold_pressure"] == pytest.approx(42.5, abs=0.02)
    assert reading.values["boost"] == pytest.approx(0.6)
    assert history.mark("settled").end == reading.row + GRID.rows(AFTER)


def test_no_input_moves_inside_a_reading():
    history = flown(Kind(lag=0.2), hold(5.0), move(3.0, mixture=1.0, boost=0.2001), read())
    assert history.reading("settled").row - GRID.rows(4 * 36_000) >= history.mark("move").end


@pytest.mark.parametrize(
    ("kind", "seen"),
    [(Kind(cycle=1.0, period=2.0), "oscillating"), (Kind(lag=200.0), "drifting")],
)
def test_an_unsteady_reading_is_taken_at_the_limit_and_says_so(kind, seen):
    stand = PlantStand(Kind())
    begun = stand.session.initialise

    def trouble_after_20_s(*asked):
        first = begun(*asked)
        plant = stand.session.plants[0]
        advance = plant.advance

        def later(row):
            if plant.time >= 20.0:
                plant.kind = kind
            return advance(row)

        plant.advance = later
        return first

    stand.session.initialise = trouble_after_20_s
    history = conduct([program(hold(15.0), put(boost=0.9), read(limit=20.0), hold(1.0))], stand)[0].history
    assert history.reading("settled").unsteady["manifold_pressure"].kind == seen
    assert history.mark("settled").end - history.mark("settled").row == 400
    assert history.ending == "completed"


def test_couple_moves_boost_with_throttle():
    history = flown(
        Kind(), put(throttle=0.3, boost=0.305), PlannedStep("couple", name="couple"), hold(0.5),
        move(2.0, throttle=0.8), hold(1.0), PlannedStep("uncouple"), put(throttle=0.5), hold(1.0),
    )  # fmt: skip
    assert history.ending == "completed"
    ramp = history.mark("move")
    joined = slice(history.mark("couple").row, ramp.end + 20)
    assert history.column("boost")[joined] == pytest.approx(history.column("throttle")[joined], abs=1e-7)
    assert history.column("boost")[-1] == pytest.approx(0.8)
    assert history.column("throttle")[-1] == pytest.approx(0.5)


def test_couple_with_a_lead_meets_the_stop():
    history = flown(
        Kind(),
        put(throttle=0.3, boost=0.5),
        PlannedStep("couple", lead=0.2),
        move(7.0, throttle=1.0),
        hold(1.0),
    )
    throttle, boost = history.column("throttle"), history.column("boost")
    begin = history.mark("move").row
    assert boost[begin:] == pytest.approx(np.minimum(1.0, throttle[begin:] + 0.2), abs=0.05)
    assert boost[-1] == 1.0
    assert throttle[-1] == 1.0


def test_coupled_seek():
    history = flown(
        Kind(lag=3.0), put(throttle=0.2, boost=0.2), read(), PlannedStep("couple"),
        boost_seek(45.0, lever="throttle"), read("end"),
    )  # fmt: skip
    assert history.mark("up").ending == "reached"
    end = history.reading("end")
    assert end.values["throttle"] == pytest.approx(25.0 / 45.0, abs=0.001)
    assert end.values["boost"] == end.values["throttle"]


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ([put(boost=0.32), PlannedStep("couple")], "cannot be coupled"),
        ([put(boost=0.3), PlannedStep("couple", lead=0.1)], "cannot be coupled"),
        ([put(boost=0.3), PlannedStep("couple"), put(boost=0.9)], "coupled to throttle"),
        ([put(boost=0.3), PlannedStep("couple"), boost_seek(40.0)], "coupled to throttle"),
        ([put(cowl_flaps=1.0)], "no input cowl_flaps"),
        ([PlannedStep("wobble")], "no step 'wobble'"),
    ],
)
def test_steps_that_cannot_be_flown_end_the_run_in_words(steps, words):
    history = flown(Kind(), *steps, hold(1.0, "after"))
    assert history.ending == "invalid"
    assert words in history.trouble
    assert history.mark("after") is None
    assert history.data.shape[0] > 100


def test_every_step_leaves_a_mark_in_order():
    steps = (
        put(boost=0.3), move(1.0, boost=0.4), hold(2.0), PlannedStep("couple", lead=0.1),
        boost_seek(40.0, lever="throttle"), PlannedStep("uncouple"), read(),
    )  # fmt: skip
    marks = flown(Kind(), *steps).marks
    assert [m.kind for m in marks] == ["trim", *(step.do for step in steps)]
    assert all(a.end == b.row for a, b in pairwise(marks))


OUTPUTS = ("manifold_pressure", "turbo_speed", "engine_speed")


def shown(leg):
    """What a lane of constant readings has to show after a leg, enough of the past before it included."""
    assert all(isinstance(block, Block) for block in leg.blocks)
    rows = sum(block.rows for block in leg.blocks)
    seen = np.full((rows + 300, len(START) + len(OUTPUTS)), 30.0, np.float32)
    return seen, answers([leg.ask], [seen])[0]


def test_decisions_fall_on_the_control_grid():
    steps = pilot(program(put(boost=0.6), boost_seek(40.0), read()), tuple(START), OUTPUTS)
    leg = next(steps)
    with pytest.raises(StopIteration):
        while True:
            assert all(block.rows % GRID.rows_per_control == 0 for block in leg.blocks)
            leg = steps.send(shown(leg))


def test_steps_that_need_no_look_are_flown_as_one_leg():
    plan = program(move(2.0, throttle=0.5), hold(3.0), put(boost=0.1), read())
    steps = pilot(plan, tuple(START), OUTPUTS)
    leg = steps.send(shown(next(steps)))
    assert [block.rows for block in leg.blocks] == [40, 60, 100]


def test_cut_hands_back_what_there_is():
    steps = pilot(program(hold(5.0), hold(30.0), hold(2.0)), tuple(START), OUTPUTS)
    steps.send(shown(next(steps)))
    with pytest.raises(StopIteration) as stopped:
        steps.throw(Cut("crash", "gone", 300))
    result = stopped.value.value
    assert (result.ending, result.trouble) == ("crash", "gone")
    assert [m.kind for m in result.marks] == ["trim", "hold", "hold"]
    assert result.marks[-1].end == 300


def test_a_start_that_leaves_an_input_open_is_refused():
    plan = program(hold(1.0))
    del plan.start["mixture"]
    history = conduct([plan], PlantStand())[0].history
    assert history.ending == "invalid"
    assert "mixture" in history.trouble
    assert math.isnan(float(history.data.sum())) is False
