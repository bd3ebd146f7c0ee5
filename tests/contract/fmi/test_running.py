"""Units of both FMI versions, run: rows, instants, lanes, renewal, start values, and one free for each instance."""

from __future__ import annotations

import ctypes
import dataclasses
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import StandError
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import Array, StandFile, Start
from leverproof_adapters import fmi
from leverproof_adapters.fmi.opening import FmuSession
from leverproof_adapters.fmi.session import Lane
from leverproof_adapters.fmi.vectors import points

StandFor = Callable[..., StandFile]
Mount = Callable[..., MountedStand]
Bare = Callable[[StandFile], FmuSession]

INPUTS = ("throttle", "mix", "hot")
OUTPUTS = ("map", "engine_speed", "point", "oil", "cylinders", "length")


def start(throttle: float = 0.3, engine: str = "running") -> Start:
    return Start(engine, (throttle, 2.0, 0.0))


def rows(throttles: Array) -> Array:
    out = np.zeros((len(throttles), 1, 3))
    out[:, 0, 0], out[:, 0, 1] = throttles, 2.0
    return out


def expected(throttles: Array, first: float, step: float, lag: float = 2.0) -> Array:
    """The lag engine once more: rows of (map, engine speed), beginning at t_0."""
    pressure = 35.0 + 70.0 * first
    speed = 25.0 * pressure
    found = [(pressure, speed)]
    for throttle in throttles:
        pressure += (35.0 + 70.0 * throttle - pressure) * step / (lag + step)
        speed += (25.0 * pressure - speed) * step / (0.5 + step)
        found.append((pressure, speed))
    return np.array(found)


@pytest.fixture(scope="module", params=[2, 3], ids=["fmi2", "fmi3"])
def shared(
    request: pytest.FixtureRequest, lag_units: dict[int, Path], stand_for: StandFor
) -> Iterator[FmuSession]:
    """One session for the tests that harm none."""
    session = fmi.open_stand(stand_for(lag_units[request.param]), defect=None)
    assert isinstance(session, FmuSession)
    yield session
    session.close()
    assert not session.folder.exists()


@pytest.fixture
def life(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], Counter[str]]:
    """What the unit wrote of births and deaths, counted."""
    path = tmp_path / "life.txt"
    monkeypatch.setenv("FMI_LIFE", str(path))
    return lambda: Counter(line.split()[0] for line in path.read_text("utf-8").splitlines())


def test_inputs_hold_from_a_row_on_and_outputs_are_those_at_its_end(shared: FmuSession) -> None:
    throttles = np.linspace(0.0, 1.0, 50) ** 2
    first = shared.initialise([start(0.3)], 1800, INPUTS, OUTPUTS)
    reply = np.concatenate(
        [first[None], *(shared.advance([0], part) for part in np.split(rows(throttles), [7, 8]))]
    )
    reference = expected(throttles, 0.3, 0.05)
    np.testing.assert_allclose(reply[:, 0, :2], reference, rtol=1e-12)
    assert (reply[:, 0, 3] == 1.5).all()
    assert (reply[:, 0, 4] == 16.0).all()


def test_communication_points_are_computed_not_summed(shared: FmuSession) -> None:
    for ticks in (450, 900, 1800, 18000):
        shared.initialise([start()], ticks, INPUTS, ("point",))
        reply = shared.advance([0], rows(np.full(3000, 0.5)))[:, 0, 0]
        assert reply.tolist() == [i * ticks / 36000 for i in range(3000)]
    assert points(450, 7, 2) == [7 * 450 / 36000, 8 * 450 / 36000]


def test_lanes_are_instances_that_do_not_know_each_other(shared: FmuSession) -> None:
    assert shared.hello().capabilities.lanes == 32
    first = shared.initialise([start(0.1), start(0.6), start(0.9)], 1800, INPUTS, OUTPUTS)
    both = np.concatenate([rows(np.full(20, 0.9)), rows(np.full(20, 0.2))], axis=1)
    reply = shared.advance([2, 0], both)
    alone = shared.advance([1], rows(np.full(20, 0.6)))
    np.testing.assert_allclose(first[:, 0], [42.0, 77.0, 98.0])
    np.testing.assert_allclose(reply[:, 1, 0], expected(np.full(20, 0.2), 0.1, 0.05)[1:, 0], rtol=1e-12)
    assert (alone[:, 0, 0] == first[1, 0]).all()


def test_columns_may_come_in_any_order(shared: FmuSession) -> None:
    shared.initialise([start(0.3)], 1800, INPUTS, OUTPUTS)
    straight = shared.advance([0], rows(np.full(5, 0.8)))
    shared.initialise([Start("running", (0.0, 0.3, 2.0))], 1800, ("hot", "throttle", "mix"), OUTPUTS[::-1])
    turned = shared.advance([0], rows(np.full(5, 0.8))[:, :, [2, 0, 1]])
    assert (turned[:, :, ::-1] == straight).all()


@pytest.mark.parametrize("renewal", ["fresh", "reset"])
def test_each_instance_is_freed_once(
    lag_unit: Path, stand_for: StandFor, bare: Bare, life: Callable[[], Counter[str]], renewal: str
) -> None:
    session = bare(stand_for(lag_unit, options=f'renewal = "{renewal}"'))
    replies = []
    for count in (3, 2, 2):
        session.initialise([start(0.3)] * count, 1800, INPUTS, OUTPUTS)
        replies.append(session.advance([1], rows(np.full(30, 0.8))))
    assert (replies[0] == replies[2]).all()
    session.reset()
    session.initialise([start(0.3)], 1800, INPUTS, OUTPUTS)
    session.close()
    session.close()
    counted = life()
    assert counted["born"] == counted["freed"] == (8 if renewal == "fresh" else 4)
    assert counted["terminated"] == 8
    assert counted["reset"] == (0 if renewal == "fresh" else 4)
    assert not session.folder.exists()


def test_a_lane_frees_its_instance_once_even_when_terminating_fails() -> None:
    called: list[str] = []

    class Complains:
        def __getattr__(self, name: str) -> Callable[..., object]:
            def call(*_: object) -> object:
                called.append(name)
                if name == "terminate":
                    raise StandError("cannot end")
                return ctypes.c_void_p(1)

            return call

    lane = Lane(Complains(), "engine")  # type: ignore[arg-type]
    lane._begun = True
    with pytest.raises(StandError, match="cannot end"):
        lane.free()
    lane.free()
    assert called == ["instantiate", "terminate", "free"]
    with pytest.raises(StandError, match="was given back"):
        lane.reset()


def test_a_unit_for_one_instance_has_one_lane(
    lag_units: dict[int, Path], described: Callable[..., Path], stand_for: StandFor, bare: Bare,
    life: Callable[[], Counter[str]],
) -> None:  # fmt: skip
    old = 'canHandleVariableCommunicationStepSize="true"'
    unit = described(lag_units[3], 3, (old, old + ' canBeInstantiatedOnlyOncePerProcess="true"'))
    session = bare(stand_for(unit))
    assert session.hello().capabilities.lanes == 1
    session.initialise([start()], 1800, INPUTS, OUTPUTS)
    session.initialise([start()], 1800, INPUTS, OUTPUTS)
    # The first is gone before the second comes.
    assert life() == {"born": 2, "terminated": 1, "freed": 1}


def test_start_values_reach_the_unit(lag_unit: Path, stand_for: StandFor, bare: Bare) -> None:
    options = 'parameters = { lag = 1, bias = -4, note = "seven letters" }'
    session = bare(stand_for(lag_unit, options=options))
    first = session.initialise([start(0.3)], 1800, INPUTS, OUTPUTS)
    assert first[0].tolist() == [pytest.approx(52.0), pytest.approx(1300.0), 0.0, 1.5, 16.0, 13.0]
    step = session.advance([0], rows(np.full(1, 1.0)))[0, 0, 0]
    assert step == pytest.approx(52.0 + 49.0 * 0.05 / 1.05)


def test_a_stopped_start_needs_to_be_told_how(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare
) -> None:
    session = bare(stand_for(lag_units[2], options="stopped = { still = true }\nrunning = { still = false }"))
    first = session.initialise([start(0.3, "stopped"), start(0.3)], 1800, INPUTS, OUTPUTS)
    assert first[:, 1].tolist() == [0.0, pytest.approx(1400.0)]
    untold = bare(stand_for(lag_units[2]))
    with pytest.raises(
        StandError, match="does not say how the unit begins with the engine stopped"
    ) as caught:
        untold.initialise([start(0.3, "stopped")], 1800, INPUTS, OUTPUTS)
    assert caught.value.code == "refused"


def test_seeded_defects_come_by_parameters_or_another_build(
    lag_units: dict[int, Path], stand_for: StandFor, mounted: Mount
) -> None:
    table = f'weak = {{ parameters = {{ bias = 7 }} }}, other = {{ target = "{lag_units[3].name}" }}'
    stand = stand_for(lag_units[3], options=f"defects = {{ {table} }}")
    found = {}
    for defect in (None, "weak", "other"):
        session = mounted(stand, defect).session
        session.initialise([Start("running", (0.3,))], 1800, ("throttle",), ("engine_speed",))
        found[defect] = session.advance([0], np.full((1, 1, 1), 0.3))[0, 0, 0]
    assert found["weak"] == pytest.approx(found[None] + 25.0 * 7.0)
    assert found["other"] == found[None]


def test_not_a_number_passes_through(
    lag_unit: Path, stand_for: StandFor, bare: Bare, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FMI_VICE", "not_a_number")
    session = bare(stand_for(lag_unit))
    session.initialise([start()], 1800, INPUTS, OUTPUTS)
    reply = session.advance([0], rows(np.full(6, 0.5)))
    assert np.isfinite(reply[:4]).all()
    assert np.isnan(reply[4:, 0, 0]).all()
    assert (reply[4:, 0, 1] == -np.inf).all()
    into = session.advance([0], rows(np.array([np.nan])))
    assert np.isnan(into[0, 0, 0])


def test_a_discrete_input_takes_states_only(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare
) -> None:
    session = bare(stand_for(lag_units[3]))
    session.initialise([start()], 1800, INPUTS, OUTPUTS)
    wrong = rows(np.full(1, 0.5))
    wrong[0, 0, 1] = 4.0
    with pytest.raises(StandError, match="a state the unit does not have"):
        session.advance([0], wrong)


def test_a_value_that_is_no_state_is_no_index(
    lag_units: dict[int, Path], described: Callable[..., Path], stand_for: StandFor, bare: Bare,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setenv("FMI_VICE", "strange_state")
    boolean, lamp = "<Boolean/>", '<Enumeration declaredType="Lamp"/>'
    unit = described(lag_units[2], 2, (f'variability="discrete">{boolean}', f'variability="discrete">{lamp}'))
    # The lamp shines as 1, the first item; 7 is no item.
    session = bare(stand_for(unit))
    session.initialise([start(1.0)], 1800, INPUTS, ("lamp",))
    assert session.advance([0], rows(np.full(5, 0.9)))[:, 0, 0].tolist() == [0.0, 0.0, 0.0, 0.0, -1.0]


def test_a_step_inside_must_divide_the_grid_step(
    lag_units: dict[int, Path], described: Callable[..., Path], stand_for: StandFor, bare: Bare
) -> None:
    old = 'canHandleVariableCommunicationStepSize="true"'
    unit = described(lag_units[3], 3, (old, old + ' fixedInternalStepSize="0.02"'))
    session = bare(stand_for(unit))
    session.initialise([start()], 3600, INPUTS, OUTPUTS)
    with pytest.raises(
        StandError, match=r"steps by 0\.02 s inside, which does not divide a grid step of 0\.05 s"
    ):
        session.initialise([start()], 1800, INPUTS, OUTPUTS)


def test_only_what_runs_is_unpacked_and_only_for_the_owner(
    lag_units: dict[int, Path], stand_for: StandFor, bare: Bare
) -> None:
    session = bare(stand_for(lag_units[2]))
    session.hello()
    names = {path.relative_to(session.folder).parts[0] for path in session.folder.rglob("*")}
    assert names == {"binaries", "modelDescription.xml", "plan.json", "resources"}
    assert session.folder.stat().st_mode & 0o077 == 0


def test_several_workers_give_the_same_bits_as_one(lag_unit: Path, stand_for: StandFor, mounted: Mount) -> None:
    throttles = np.linspace([0.1, 0.3, 0.5], [0.9, 0.2, 0.5], 30)
    found = []
    for processes in (1, 2, 3):
        with mounted(dataclasses.replace(stand_for(lag_unit), processes=processes)) as stand:
            inputs, outputs = stand.available_inputs, stand.available_outputs
            given = np.zeros((30, 3, len(inputs)))
            given[:, :, inputs.index("throttle")] = throttles
            begun = [Start("running", tuple(row)) for row in given[0]]
            first = stand.session.initialise(begun, 1800, inputs, outputs)
            found.append(first.tobytes() + stand.session.advance([0, 1, 2], given).tobytes())
            assert stand.farewell == ""
    assert found[0] == found[1] == found[2]
