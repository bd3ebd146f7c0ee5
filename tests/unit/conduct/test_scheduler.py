"""The scheduler: the same bits whatever the neighbours, and one bad run costs only itself."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plants import GRID, Kind, PlantStand, boost_seek, program, read, s

from leverproof.conduct.model import PlannedStep
from leverproof.conduct.scheduler import batches, conduct
from leverproof.errors import StandError
from leverproof.timegrid import TimeGrid


def many(count=7, grid=GRID):
    """Programs of different length and kind of step, told apart by their throttle."""
    return [
        program(
            PlannedStep("set", levers={"boost": 0.1 + 0.05 * i}),
            PlannedStep("hold", duration=s(1.0 + 3.5 * (i % 4))),
            PlannedStep("move", levers={"throttle": 0.9, "mixture": float(i % 4)}, duration=s(2.0 + i)),
            boost_seek(33.0 + 2.0 * i),
            read(),
            start={"throttle": 0.2 + 0.01 * i},
            key=f"run {i}",
            grid=grid,
        )
        for i in range(count)
    ]


def varied(row):
    return Kind(lag=0.5 + 10.0 * (row[0] - 0.2), noise=0.004)


def assert_same(runs, others):
    for run, other in zip(runs, others, strict=True):
        assert run.program is other.program
        assert run.history.data.tobytes() == other.history.data.tobytes()
        assert run.history.marks == other.history.marks
        assert run.history.readings == other.history.readings
        assert run.history.ending == other.history.ending == "completed"


PROGRAMS = many()
ALONE = conduct(PROGRAMS, PlantStand(varied, lanes=1))


@settings(deadline=None, max_examples=12)
@given(lanes=st.integers(1, 9), most_rows=st.integers(1, 700), max_values=st.sampled_from([4, 30, 199, 5_000]))
def test_bits_do_not_depend_on_lanes_or_batch_size(lanes, most_rows, max_values):
    stand = PlantStand(varied, lanes=lanes, max_values=max_values)
    assert_same(conduct(PROGRAMS, stand, most_rows=most_rows), ALONE)


def test_bits_do_not_depend_on_order():
    backwards = conduct(PROGRAMS[::-1], PlantStand(varied, lanes=3))
    assert_same(backwards[::-1], ALONE)


def test_requests_keep_within_rows_and_values_and_finished_lanes_leave():
    stand = PlantStand(varied, lanes=4, max_values=600)
    conduct(PROGRAMS, stand)
    assert stand.batches == [4, 3]
    assert max(rows for _, rows in stand.requests) <= 500
    assert max(rows * len(lanes) * 4 for lanes, rows in stand.requests) <= 600
    assert {len(lanes) for lanes, _ in stand.requests} == {1, 2, 3, 4}


def test_half_grid_runs_apart_and_agrees():
    coarse, fine = many(2), many(2, TimeGrid(900))
    stand = PlantStand(lambda row: Kind(lag=2.0), lanes=8)
    runs = conduct([coarse[0], fine[0], coarse[1], fine[1]], stand)
    assert stand.batches == [2, 2]
    assert runs[1].history.grid.step == 900
    for a, b in ((runs[0], runs[1]), (runs[2], runs[3])):
        assert a.history.reading("settled").values["manifold_pressure"] == pytest.approx(
            b.history.reading("settled").values["manifold_pressure"], abs=0.03
        )
        ramps = [run.history.mark("").row * run.history.grid.step for run in (a, b)]
        assert ramps[0] == ramps[1]


def test_longest_together():
    found = batches(PROGRAMS, 3)
    assert [len(batch) for batch in found] == [3, 3, 1]
    assert sorted(p.key for batch in found for p in batch) == sorted(p.key for p in PROGRAMS)


def test_a_model_without_reset_is_opened_anew_for_each_batch():
    stand = PlantStand(varied, lanes=3, reset=False)
    assert_same(conduct(PROGRAMS, stand), ALONE)
    assert stand.reopened == 2


@pytest.mark.parametrize("lanes", [1, 4, 7])
def test_not_finite_ends_that_run_only_and_keeps_its_data(lanes):
    def kind(row):
        bad = abs(row[0] - 0.23) < 0.001
        return replace(varied(row), spoils=(lambda t: t > 9.99) if bad else (lambda t: False))

    runs = conduct(PROGRAMS, PlantStand(kind, lanes=lanes))
    bad = runs[3].history
    assert bad.ending == "invalid"
    assert bad.trouble == "manifold_pressure is not finite at t = 10 s"
    assert bad.data.shape[0] == 201
    assert np.isfinite(bad.data[:-1]).all()
    assert bad.data[:-1].tobytes() == ALONE[3].history.data[:200].tobytes()
    assert bad.marks[0].kind == "trim"
    assert bad.marks[-1].end == 200
    assert_same(runs[:3] + runs[4:], ALONE[:3] + ALONE[4:])


def test_not_finite_at_the_start():
    stand = PlantStand(Kind(spoils=lambda t: True))
    run = conduct([program(read())], stand)[0]
    assert run.history.trouble == "manifold_pressure is not finite at t = 0 s"
    assert run.history.data.shape[0] == 1


def test_how_a_program_ended_is_said_once():
    def fails(time):
        raise StandError("it ended: exit code 3", code="crash", evidence="exit code 3\nlast words")

    run = conduct([program(read())], PlantStand(Kind(fails=fails)))[0]
    assert run.history.trouble == "it ended: exit code 3; the model wrote: last words"


def failing(code, at=12.0, which=0.24):
    def fails(time):
        if time > at:
            raise StandError("it fell over", code=code, evidence="last words")

    return lambda row: replace(varied(row), fails=fails if abs(row[0] - which) < 0.001 else None)


@pytest.mark.parametrize("code", ["crash", "hang", "protocol", "refused"])
@pytest.mark.parametrize("lanes", [1, 3, 7])
def test_a_model_that_goes_down_costs_only_the_culprit(code, lanes):
    stand = PlantStand(failing(code), lanes=lanes)
    heard = []
    runs = conduct(PROGRAMS, stand, on_finished=heard.append)
    bad = runs[4].history
    assert bad.ending == code
    assert "it fell over" in bad.trouble
    assert "last words" in bad.trouble
    assert_same(runs[:4] + runs[5:], ALONE[:4] + ALONE[5:])
    assert sorted(run.program.key for run in heard) == sorted(p.key for p in PROGRAMS)


def test_data_before_a_failure_are_kept():
    run = conduct([PROGRAMS[4]], PlantStand(failing("crash")), most_rows=10)[0]
    assert run.history.data.shape[0] > 200
    assert run.history.marks[0].kind == "trim"
    kept = run.history.data.shape[0]
    assert run.history.data[:-1].tobytes() == ALONE[4].history.data[: kept - 1].tobytes()


def test_initialise_that_fails_is_an_ending_too():
    stand = PlantStand(varied, lanes=7)
    refused = 0

    def kind(row):
        nonlocal refused
        if abs(row[0] - 0.22) < 0.001:
            refused += 1
            raise StandError("no such start", code="refused")
        return varied(row)

    stand.kind_of = kind
    runs = conduct(PROGRAMS, stand)
    assert refused == 2
    assert runs[2].history.ending == "refused"
    assert runs[2].history.data.shape == (0, 7)
    assert_same(runs[:2] + runs[3:], ALONE[:2] + ALONE[3:])


def test_only_lanes_that_an_error_names_are_tried_alone():
    stand = PlantStand(failing("crash"), lanes=7)
    (flown,) = batches(PROGRAMS, 7)
    guilty = flown.index(PROGRAMS[4])
    other = (guilty + 2) % 7
    answer = stand.session.advance

    def naming(lanes, rows):
        try:
            return answer(lanes, rows)
        except StandError as error:
            error.lanes = (other, guilty)
            raise

    stand.session.advance = naming
    runs = conduct(PROGRAMS, stand)
    assert stand.batches == [7, 5, 1, 1]
    assert runs[4].history.ending == "crash"
    assert_same(runs[:4] + runs[5:], ALONE[:4] + ALONE[5:])


def test_a_failure_that_no_program_repeats_alone_is_told():
    stand = PlantStand(varied, lanes=7)
    begun = stand.session.initialise

    def fussy(starts, *rest):
        if len(starts) > 1:
            raise StandError("too many", code="crash")
        return begun(starts, *rest)

    stand.session.initialise = fussy
    told = []
    assert_same(conduct(PROGRAMS, stand, on_warning=told.append), ALONE)
    assert len(told) == 1
    assert "too many" in told[0]


def test_a_model_that_does_not_come_up_again_leaves_the_rest_not_run():
    stand = PlantStand(failing("crash", which=0.26), reopens=lambda count: False)
    runs = conduct(PROGRAMS, stand)
    endings = [run.history.ending for run in runs]
    assert endings.count("crash") == 1
    assert set(endings) <= {"crash", "not run", "completed"}
    assert stand.reopened == 3
    gone = [run.history for run in runs if run.history.ending == "not run"]
    assert gone
    assert all("could not be mounted again" in history.trouble for history in gone)


def test_a_model_that_comes_up_at_the_third_attempt_goes_on():
    stand = PlantStand(failing("crash"), reopens=lambda count: count % 3 == 0)
    endings = [run.history.ending for run in conduct(PROGRAMS, stand)]
    assert endings.count("completed") == 6


def test_an_answer_of_the_wrong_shape_is_a_protocol_ending():
    stand = PlantStand(varied)
    answer = stand.session.advance
    stand.session.advance = lambda lanes, rows: answer(lanes, rows)[:, :, :2]
    run = conduct(PROGRAMS[:1], stand)[0]
    assert run.history.ending == "protocol"


@pytest.mark.parametrize("lanes", [1, 3])
def test_interrupt_keeps_what_is_finished(lanes):
    stand = PlantStand(varied, lanes=lanes)
    left = 60

    def interrupting(time):
        nonlocal left
        if time > 30.0:
            left -= 1
            if left < 0:
                raise KeyboardInterrupt

    stand.kind_of = lambda row: replace(varied(row), fails=interrupting)
    runs = conduct(PROGRAMS, stand, most_rows=10)
    endings = [run.history.ending for run in runs]
    assert len(runs) == 7
    assert set(endings) == {"interrupted"}
    assert sum(run.history.data.shape[0] > 0 for run in runs) == lanes


def test_interrupt_after_a_finished_run():
    def stop(run):
        raise KeyboardInterrupt

    runs = conduct(PROGRAMS, PlantStand(varied, lanes=1), on_finished=stop_once())
    endings = [run.history.ending for run in runs]
    assert endings.count("completed") == 1
    assert endings.count("interrupted") == 6


def stop_once():
    calls = []

    def heard(run):
        calls.append(run)
        if len(calls) == 1:
            raise KeyboardInterrupt

    return heard


def test_progress_is_told_at_most_ten_times_a_second_and_ends_at_the_whole():
    now, told = [0.0], []

    def clock():
        now[0] += 0.01
        return now[0]

    runs = conduct(PROGRAMS, PlantStand(varied, lanes=2), progress=lambda *a: told.append((now[0], *a)), clock=clock)
    gaps = [b[0] - a[0] for a, b in pairwise(told[:-1])]
    assert min(gaps) >= 0.1 - 1e-9
    assert all(a[1] <= b[1] <= b[2] for a, b in pairwise(told))
    flown = sum(run.history.seconds()[-1] for run in runs)
    assert told[-1][1] == pytest.approx(flown)
    assert told[-1][2] == pytest.approx(flown)


def test_no_programs():
    assert conduct([], PlantStand()) == []


def test_inputs_are_handed_over_as_written():
    """What the model gets, rounded, is what the history says it got."""
    stand = PlantStand(varied, lanes=2)
    answer, got = stand.session.advance, []

    def listening(lanes, rows):
        if 0 in lanes:
            got.append(rows[:, list(lanes).index(0)].copy())
        return answer(lanes, rows)

    stand.session.advance = listening
    runs = conduct(PROGRAMS[:2], stand)
    sent = np.concatenate(got).astype(np.float32)
    assert any(np.array_equal(run.history.data[:-1, :4], sent) for run in runs)
    assert not math.isnan(float(sent.sum()))


def paused(key, *pauses):
    """A burst of throttle with pauses (s) in its middle."""
    return program(
        PlannedStep("set", levers={"throttle": 0.3}),
        PlannedStep("move", levers={"throttle": 0.5}, duration=s(1.0)),
        *(PlannedStep("pause", duration=s(seconds)) for seconds in pauses),
        PlannedStep("move", levers={"throttle": 0.7}, duration=s(1.0)),
        read(),
        key=key,
    )


def test_a_pause_is_silence_between_two_requests_and_costs_no_rows():
    stand = PlantStand(lanes=9)
    told = []

    def wait(seconds):
        told.append((seconds, len(stand.requests)))

    straight, stopped = conduct([paused("straight"), paused("stopped", 0.5)], stand, wait=wait)
    assert [seconds for seconds, _ in told] == [0.5]
    flown = sum(rows for lanes, rows in stand.requests[: told[0][1]] if len(lanes) == 1)
    (mark,) = [mark for mark in stopped.history.marks if mark.kind == "pause"]
    assert stand.batches == [1, 1], "a run with a pause flies apart from those without"
    assert mark.row == mark.end == flown - straight.history.data.shape[0] + 1
    assert stopped.history.data.tobytes() == straight.history.data.tobytes()
    assert [m for m in stopped.history.marks if m.kind != "pause"] == list(straight.history.marks)


def test_pauses_side_by_side_add_up_and_those_without_are_not_kept_waiting():
    told = []
    conduct([paused("a", 0.5, 1.0), *many(2), paused("b", 0.5)], PlantStand(lanes=9), wait=told.append)
    assert told == [1.5]
