"""Models on their own clock: told and polled, their outputs on the time grid, every fault of a clock by its name."""

from __future__ import annotations

import importlib.util
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.schema import check
from leverproof.stand.free_running import FreeRunningSession
from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import Array, Deadlines, StandFile, Start
from leverproof_adapters import stdio

HERE = Path(__file__).resolve().parent
INPUTS = ("throttle", "propeller", "mixture", "pressure_altitude", "temperature_offset", "true_airspeed")
OUTPUTS = ("manifold_pressure", "engine_speed", "fuel_flow")
CRUISE = (0.5, 0.9, 2.0, 3000.0, 0.0, 150.0)
STEP = 1800


@pytest.fixture(scope="module")
def faults() -> ModuleType:
    """The engine on a clock that nobody waits for."""
    path = HERE.parent / "models" / "free_running_faults.py"
    spec = importlib.util.spec_from_file_location("free_running_faults", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


class Flown:
    """A session over the engine, and how it is flown."""

    def __init__(self, faults: ModuleType, vice: str = "none", *, gap: float = 2.0, **changes: Any) -> None:
        self.wall = faults.Wall()
        self.model = faults.Clocked(vice, wall=self.wall, **changes)
        self.session = FreeRunningSession(
            self.model, Deadlines(request=5.0), longest_gap=gap, clock=self.wall, sleep=self.wall.sleep
        )

    def begin(self, engine: str = "running", **levers: float) -> Array:
        row = tuple(levers.get(name, value) for name, value in zip(INPUTS, CRUISE, strict=True))
        return self.session.initialise([Start(engine, row)], STEP, INPUTS, OUTPUTS)

    def hold(self, rows: int, **levers: float) -> Array:
        row = [levers.get(name, value) for name, value in zip(INPUTS, CRUISE, strict=True)]
        return self.session.advance([0], np.tile(np.array(row), (rows, 1, 1)))[:, 0]


@pytest.fixture
def flown(faults: ModuleType) -> Callable[..., Flown]:
    def make(vice: str = "none", **changes: Any) -> Flown:
        return Flown(faults, vice, **changes)

    return make


@pytest.mark.parametrize("rate", [0.5, 1.0, 20.0])
def test_a_lag_is_seen_on_the_time_grid(flown: Callable[..., Flown], rate: float) -> None:
    """The manifold follows the throttle with a lag of 0.8 s, whatever the pace, to within what the clock is sure of."""
    one = flown(rate=rate)
    first = one.begin(throttle=0.3)
    still = one.hold(40, throttle=0.3)
    moved = one.hold(200, throttle=0.6)
    seen = one.session.clock_seen()
    assert np.allclose(still[:, 0], first[0, 0])
    a, b = first[0, 0], moved[-1, 0]
    at = (np.arange(200) + 1) * STEP / 36_000.0
    expected = b + (a - b) * np.exp(-at / 0.8)
    steepest = abs(b - a) / 0.8
    assert np.abs(moved[:, 0] - expected).max() <= steepest * (seen.jitter + 0.026)
    assert 0.0 <= seen.late <= seen.jitter < 0.2
    assert seen.rate == pytest.approx(rate, rel=0.06)


def test_batches_follow_each_other_on_one_clock(flown: Callable[..., Flown]) -> None:
    one, other = flown(), flown()
    for each in (one, other):
        each.begin(throttle=0.3)
    whole = one.hold(100, throttle=0.6)
    parts = np.concatenate([other.hold(n, throttle=0.6) for n in (1, 9, 40, 50)])
    assert np.abs(whole - parts).max(axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=30.0)
    assert parts[-1, 0] == pytest.approx(whole[-1, 0], rel=1e-3)


def test_only_what_changed_is_told(flown: Callable[..., Flown], monkeypatch: pytest.MonkeyPatch) -> None:
    one = flown()
    told: list[dict[str, float]] = []
    tell = one.model.tell
    monkeypatch.setattr(one.model, "tell", lambda values: told.append(dict(values)) or tell(values))
    one.begin()
    one.hold(20)
    assert told == []
    one.hold(20, throttle=0.6, mixture=3.0)
    one.hold(20, throttle=0.6, mixture=3.0)
    assert told == [{"throttle": 0.6, "mixture": 3.0}]
    assert one.session.told["throttle"] == 0.6


def test_a_ramp_arrives_as_fast_as_it_can_be_told(flown: Callable[..., Flown]) -> None:
    one = flown(rate=100.0)
    one.begin(throttle=0.3)
    rows = np.tile(np.array(CRUISE), (200, 1, 1))
    rows[:, 0, 0] = np.linspace(0.3, 0.6, 200)
    one.session.advance([0], rows)
    assert one.session.told["throttle"] == pytest.approx(0.6)
    assert one.session.clock_seen().polls > 50


def test_a_model_is_never_the_same_twice_and_has_one_lane(flown: Callable[..., Flown]) -> None:
    can = flown().session.hello().capabilities
    assert (can.lanes, can.deterministic, can.clock, can.rate) == (1, False, "free_running", 1.0)


def test_an_engine_that_stands_still_needs_a_reset(flown: Callable[..., Flown]) -> None:
    assert flown().begin("stopped")[0, 1] == 0.0
    with pytest.raises(StandError, match="no stopped engine to begin with") as caught:
        flown(reset=False).begin("stopped")
    assert caught.value.code == "refused"


def test_a_model_without_reset_goes_on_from_where_it_is(flown: Callable[..., Flown]) -> None:
    one = flown(reset=False)
    one.begin(throttle=0.9)
    high = one.hold(100, throttle=0.9)[-1, 0]
    again = one.begin(throttle=0.1)
    assert again[0, 0] == pytest.approx(high, rel=0.1)
    assert one.hold(200, throttle=0.1)[-1, 0] < 0.8 * high


@pytest.mark.parametrize(
    ("vice", "code", "words"),
    [
        ("stands-still", "hang", "stands still at 6"),
        ("runs-double", "protocol", r"2 times the rate of 1 that it declares"),
        ("runs-back", "protocol", "ran back from 6"),
        ("jumps-ahead", "protocol", "jumped ahead by 4"),
        ("stamps-pictures", "protocol", "differ, although nothing was told"),
        ("slow-replies", "hang", "nothing is bridged over more than 2 s"),
    ],
)
@pytest.mark.parametrize("rate", [1.0, 20.0])
def test_every_fault_of_a_clock_by_its_name(
    flown: Callable[..., Flown], vice: str, code: str, words: str, rate: float
) -> None:
    one = flown(vice, rate=rate)
    words = words.replace("rate of 1", f"rate of {rate:g}")
    with pytest.raises(StandError, match=words) as caught:
        one.begin(throttle=0.3)
        for place in (0.4, 0.5, 0.6) * 20:
            one.hold(20, throttle=place)
    assert caught.value.code == code


def test_a_small_jump_widens_the_doubt(flown: Callable[..., Flown]) -> None:
    one = flown("jumps-ahead", gap=60.0, declares=False)
    one.begin()
    one.hold(300)
    assert one.session.clock_seen().jitter > 4.0 - 0.05


def test_short_runs_together_show_a_rate_that_is_not_so(flown: Callable[..., Flown]) -> None:
    one = flown("runs-double", rate=20.0)
    with pytest.raises(StandError, match="times the rate of 20 that it declares"):
        for _ in range(10):
            one.begin()
            one.hold(100)


def test_a_clock_that_declares_no_rate_is_held_against_none(flown: Callable[..., Flown]) -> None:
    one = flown("runs-double", declares=False)
    one.begin()
    one.hold(200)
    assert one.session.clock_seen().rate == pytest.approx(2.0, rel=0.06)


def test_every_run_has_a_jitter_of_its_own(flown: Callable[..., Flown]) -> None:
    one = flown("sparse-frames")
    one.begin()
    one.hold(100)
    assert one.session.clock_seen().jitter > 0.9
    one.begin()
    assert one.session.clock_seen().jitter == 0.0


@pytest.fixture
def clock_stand(stand_of: Callable[..., StandFile]) -> Callable[..., StandFile]:
    """The clock spoken to over standard streams, with one vice."""

    def make(vice: str, extra: str = "", **changes: Any) -> StandFile:
        command = [sys.executable, str(HERE / "faulty_clock.py"), "--vice", vice]
        return stand_of(command=command, extra=f'clock = "free_running"\n{extra}', **changes)

    return make


@pytest.fixture
def open_clock(clock_stand: Callable[..., StandFile]) -> Iterator[Callable[..., MountedStand]]:
    opened: list[MountedStand] = []

    def make(vice: str, extra: str = "", *, gap: str = WIDE, **changes: Any) -> MountedStand:
        extra = extra if "[options]" in extra else extra + gap
        opened.append(mount(clock_stand(vice, extra, **changes), defect=None, adapters={"stdio": stdio.open_stand}))
        return opened[-1]

    yield make
    for one in opened:
        one.close()


WIDE = '[options]\nlongest_gap = "30 s"\n'
"""A machine that looks away for a second misses 20 s of that clock."""


def fly(mounted: MountedStand, rows: int = 60, throttle: float = 0.5) -> Array:
    session = mounted.session
    outputs = ["manifold_pressure", "turbo_overspeed_light"]
    session.initialise([Start("running", (throttle,))], STEP, ["throttle"], outputs)
    return session.advance([0], np.full((rows, 1, 1), throttle))[:, 0]


def test_a_program_is_told_and_polled(open_clock: Callable[..., MountedStand]) -> None:
    mounted = open_clock("none")
    out = fly(mounted)
    assert out[:, 0].tolist() == [20.0] * 60
    assert set(np.unique(out[:, 1])) == {0.0, 1.0}
    seen = mounted.clock_seen()
    assert seen is not None and seen.polls >= 10
    assert mounted.capabilities.lanes == 1


def test_the_lamp_of_a_program_is_seen_blinking(open_clock: Callable[..., MountedStand]) -> None:
    out = fly(open_clock("none", "[channels.turbo_overspeed_light]\nlit_now = true\n"), rows=100)
    # A machine that looks away for long sees no toggles meanwhile.
    assert np.count_nonzero(out[40:, 1] == 1.0) > 20


def test_numbers_that_are_none_pass(open_clock: Callable[..., MountedStand]) -> None:
    assert np.isnan(fly(open_clock("nan"))[-1, 0])


@pytest.mark.parametrize(
    ("vice", "code", "words"),
    [
        ("lacks", "protocol", "lacks 'manifold_pressure'"),
        ("word", "protocol", 'manifold_pressure is "high", not a number'),
        ("list", "protocol", "no object 'values'"),
        ("late_nan", "protocol", "stamped nan"),
        ("late_word", "protocol", 'time is "noon"'),
        ("late_true", "protocol", "time is true"),
        ("hangs", "hang", "no reply to poll within"),
        ("dies", "crash", "exit code 5"),
    ],
)
def test_replies_that_are_not_of_the_protocol(
    open_clock: Callable[..., MountedStand], vice: str, code: str, words: str
) -> None:
    mounted = open_clock(vice, request="0.5 s" if vice == "hangs" else "10 s")
    with pytest.raises(StandError, match=words) as caught:
        fly(mounted)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("vice", "words"),
    [
        ("tell_without_time", "time is null, not a number"),
        ("tells_back", "ran back from"),
        ("tells_ahead", r"a tell is stamped 1e\+06 s"),
    ],
)
def test_tells_that_are_not_of_the_protocol(open_clock: Callable[..., MountedStand], vice: str, words: str) -> None:
    mounted = open_clock(vice)
    fly(mounted)
    with pytest.raises(StandError, match=words) as caught:
        mounted.session.advance([0], np.full((20, 1, 1), 0.7))
    assert caught.value.code == "protocol"


def test_a_clock_that_drips_is_as_good_as_standing_still(open_clock: Callable[..., MountedStand]) -> None:
    with pytest.raises(StandError, match="stands still") as caught:
        fly(open_clock("drips", request="0.5 s"))
    assert caught.value.code == "hang"


def test_a_rate_of_nothing_is_refused(open_clock: Callable[..., MountedStand]) -> None:
    with pytest.raises(StandError, match="rate"):
        open_clock("no_rate")


def test_what_is_said_fits_the_schemas() -> None:
    spec = importlib.util.spec_from_file_location("faulty_clock", HERE / "faulty_clock.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    state = {"begun": 0.0, "throttle": 0.0}
    for method, params, schema in (
        ("reset", {"engine": "running", "values": {"throttle": 0.5}}, None),
        ("tell", {"values": {"throttle": "NaN"}}, "wire-tell-result"),
        ("tell", {"values": {"throttle": 0.5}}, "wire-tell-result"),
        ("poll", {}, "wire-poll-result"),
    ):
        request = {"id": 1, "method": method, "params": params}
        check(request, "wire-request", "request")
        result = module.answer("none", request, state)
        if schema:
            result.get("values", {}).pop("mood", None)
            check(result, schema, "result")
    for bad in (
        {"method": "tell", "params": {"values": {}}},
        {"method": "tell", "params": {"values": {"throttle": True}}},
        {"method": "tell", "params": {}},
        {"method": "reset", "params": {"engine": "running"}},
        {"method": "reset", "params": {"engine": "warm", "values": {}}},
    ):
        with pytest.raises(InputError):
            check({"id": 1, **bad}, "wire-request", "request")
    for bad in ({"time": "NaN", "values": {"a": 1.0}}, {"time": 1.0, "values": []}, {"values": {"a": 1.0}}):
        with pytest.raises(InputError):
            check(bad, "wire-poll-result", "result")


def test_requests_as_they_go_out(clock_stand: Callable[..., StandFile]) -> None:
    stand = clock_stand("log", WIDE)
    mounted = mount(stand, defect=None, adapters={"stdio": stdio.open_stand})
    fly(mounted, rows=4)
    mounted.session.advance([0], np.full((2, 1, 1), 0.25))
    wire = mounted.session._session._session.model  # type: ignore[attr-defined]
    mounted.close()
    said = [json.loads(line) for line in wire._link.tail().splitlines()]
    for request in said:
        check(request, "wire-request", "request")
    assert [r["params"] for r in said if r["method"] == "tell"] == [{"values": {"throttle": 0.25}}]
    assert said[1] == {
        "id": 2,
        "method": "reset",
        "params": {"engine": "running", "values": {"throttle": 0.5}},
    }
    assert {r["method"] for r in said} == {"hello", "reset", "poll", "tell", "close"}


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        ('[options]\nlongest_gap = "2 m"\n', "longest_gap"),
        ('[options]\nlongest_gap = "90 s"\n', "between 0 and 60 s"),
        ("[options]\nshortest_gap = 1\n", "no option 'shortest_gap'"),
    ],
)
def test_options_that_do_not_fit(open_clock: Callable[..., MountedStand], extra: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        open_clock("none", extra)


def test_a_clock_of_its_own_is_for_programs(stand_of: Callable[..., StandFile]) -> None:
    with pytest.raises(InputError, match="'in_process' has no clock of its own"):
        stand_of(kind="in_process", target="lag_engine.py:make", extra='clock = "free_running"\n')
