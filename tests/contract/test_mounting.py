"""Mounting: one model in process and as a child process; names, units, states, defects and trouble."""

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError, StandError, UsageError
from leverproof.quantities import convert
from leverproof.stand.adapters import find_adapter, installed_kinds
from leverproof.stand.mount import MountedStand, known_defects, mount
from leverproof.stand.port import Array, ChannelMap, Session, StandFile, Start
from leverproof.stand.shakedown import shakedown
from leverproof_adapters import in_process, stdio

Mount = Callable[..., MountedStand]
StandOf = Callable[..., StandFile]
INPUTS = ("throttle", "mixture")
OUTPUTS = ("manifold_pressure", "engine_speed", "carburettor_air_temperature")
KINDS = ("in_process", "stdio")


def fly(session: Session, lanes: int = 3, rows: int = 40) -> Array:
    """All lanes through a seeded schedule, then two of them, backwards, through another."""
    random = np.random.default_rng(7)
    schedule = random.random((rows, lanes, 2)) * [1.0, 0.0] + [0.0, 2.0]
    first = session.initialise(
        [Start("running", (0.1 * k, 2.0)) for k in range(lanes)], 1800, INPUTS, OUTPUTS
    )
    every = session.advance(range(lanes), schedule)
    some = session.advance([2, 0], schedule[:, :2])
    return np.concatenate([first.ravel(), every.ravel(), some.ravel()])


def test_both_kinds_give_the_same_numbers_to_the_last_bit(lag_stand: StandOf, mounted: Mount) -> None:
    numbers = [fly(mounted(lag_stand(kind)).session) for kind in KINDS]
    assert numbers[0].tobytes() == numbers[1].tobytes()
    assert len(np.unique(numbers[0])) > 200


@pytest.mark.parametrize("kind", KINDS)
def test_a_run_in_pieces_is_the_run_in_one(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    session = mounted(lag_stand(kind)).session
    rows = np.random.default_rng(3).random((50, 2, 2)) * [1.0, 0.0]
    starts = [Start("running", (0.2, 2.0)), Start("running", (0.7, 2.0))]
    session.initialise(starts, 1800, INPUTS, OUTPUTS)
    whole = session.advance([0, 1], rows)
    session.reset()
    session.initialise(starts, 1800, INPUTS, OUTPUTS)
    pieces = [session.advance([0, 1], part) for part in np.split(rows, [1, 2, 30])]
    assert np.concatenate(pieces).tobytes() == whole.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_lanes_not_named_stand_still(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    session = mounted(lag_stand(kind)).session
    starts = [Start("running", (0.2, 2.0)), Start("running", (0.2, 2.0))]
    session.initialise(starts, 1800, INPUTS, OUTPUTS)
    session.advance([1], np.full((9, 1, 2), 0.9))
    late = session.advance([0], np.full((1, 1, 2), 0.9))
    session.initialise(starts, 1800, INPUTS, OUTPUTS)
    assert session.advance([0], np.full((1, 1, 2), 0.9)).tobytes() == late.tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_names_units_and_states_are_ours(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    stand = mounted(lag_stand(kind))
    assert stand.available_inputs == INPUTS
    assert set(stand.available_outputs) == set(OUTPUTS)
    assert stand.links.unmapped_inputs == ("bleed",)
    assert stand.links.unmapped_outputs == ("mood",)
    assert stand.states("mixture") == ("cut_off", "auto_lean", "auto_rich", "full_rich")
    starts = [Start("running", (0.3, 2.0)), Start("running", (0.3, 0.0))]
    reply = stand.session.initialise(starts, 1800, INPUTS, OUTPUTS)
    assert reply[0, 0] == pytest.approx(convert(37.0, "kPa", "inHg"), rel=1e-12)
    assert reply[0, 1] == pytest.approx(convert(2.1 * 37.0, "rad/s", "rpm"), rel=1e-12)
    assert reply[0, 2] == pytest.approx(15.0, abs=1e-12)
    assert reply[1, 1] == 0.0, "cut-off is our state 0 and the model's state 3"


DETENTS = {"cut_off": 3.0, "auto_lean": 0.7, "auto_rich": 0.4}


@pytest.mark.parametrize("kind", KINDS)
def test_a_lever_goes_to_its_detents(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    stand = lag_stand(kind, "Detented")
    if kind == "stdio":
        stand = dataclasses.replace(stand, command=(*stand.command, "--class", "Detented"))
    channels = {**stand.channels, "mixture": ChannelMap("mix", detents=DETENTS)}
    opened = mounted(dataclasses.replace(stand, channels=channels))
    assert opened.states("mixture") == ("cut_off", "auto_lean", "auto_rich")
    starts = [Start("running", (0.3, state)) for state in (0.0, 1.0, 2.0)]
    reply = opened.session.initialise(starts, 1800, INPUTS, OUTPUTS)
    assert (reply[:, 1] == 0.0).tolist() == [True, False, False]
    rows = np.array([[[0.3, 2.0], [0.3, 0.0]]])
    assert (opened.session.advance([0, 1], rows)[0, :, 1] == 0.0).tolist() == [False, True]
    with pytest.raises(StandError, match="has no 'full_rich'"):
        opened.session.advance([0], np.array([[[0.3, 3.0]]]))


def test_a_shakedown_takes_detents_for_states(lag_stand: StandOf) -> None:
    stand = lag_stand("in_process", "Detented")
    channels = {**stand.channels, "mixture": ChannelMap("mix", detents=DETENTS)}
    for given, ending in ((channels, "pass"), (stand.channels, "fail")):
        found = shakedown(dataclasses.replace(stand, channels=given), items=["states"])
        assert [r.ending for r in found.results if r.name == "states"] == [ending]


@pytest.mark.parametrize("kind", KINDS)
def test_not_a_number_passes_both_ways(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    session = mounted(lag_stand(kind)).session
    session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    reply = session.advance([0], np.array([[[np.nan, 2.0]], [[np.inf, 2.0]]]))
    assert np.isnan(reply[:, 0, :2]).all()
    assert np.isfinite(reply[:, 0, 2]).all()


@pytest.mark.parametrize("kind", KINDS)
def test_a_seeded_defect_reaches_the_model(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    honest = mounted(lag_stand(kind))
    seeded = mounted(lag_stand(kind), "charge-ignores-pressure")
    assert honest.supports("charge-ignores-pressure")
    assert not honest.supports("no-such-defect")
    assert seeded.facts()["defect"] == "charge-ignores-pressure"
    assert np.ptp(fly(honest.session)[9::3]) > 1.0
    pressure = fly(seeded.session).reshape(-1, 3)[:, 0]
    assert np.all(pressure == pressure[0])


def test_an_unknown_defect_names_the_known_ones(lag_stand: StandOf, mounted: Mount) -> None:
    with pytest.raises(UsageError, match="did you mean 'charge-ignores-pressure'"):
        mounted(lag_stand("stdio"), "charge-ignores-presure")


def test_known_defects_need_no_mounting(lag_stand: StandOf) -> None:
    stand = dataclasses.replace(lag_stand("in_process"), target="nowhere.py:make")
    assert set(known_defects(stand, in_process.open_stand)) == {"charge-ignores-pressure"}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"manifold_pressure": ChannelMap("mapp")},
            ["channels.manifold_pressure.name", "did you mean 'map'"],
        ),
        (
            {"manifold_pressure": ChannelMap("map", "rpm")},
            ["manifold_pressure is a pressure", "angular speed"],
        ),
        ({"mixture": ChannelMap("map")}, ["no input 'map'"]),
        (
            {"boost": ChannelMap("throttle"), "throttle": ChannelMap("throttle")},
            ["throttle and boost are both"],
        ),
        ({"turbo_overspeed_light": ChannelMap("mood")}, []),
        ({"mixture": ChannelMap("mix", detents=DETENTS)}, ["has named states", "channels.mixture.detents"]),
        ({"carburettor_heat": ChannelMap("mix")}, ["state 'full_rich'", "cold, hot"]),
    ],
)
def test_a_map_that_does_not_fit_is_refused(
    lag_stand: StandOf, mounted: Mount, changes: dict[str, ChannelMap], words: list[str]
) -> None:
    stand = dataclasses.replace(lag_stand("in_process"), channels=changes)
    if not words:
        assert "turbo_overspeed_light" in mounted(stand).available_outputs
        return
    with pytest.raises(InputError) as caught:
        mounted(stand)
    assert [word for word in words if word not in str(caught.value)] == []


def test_another_clock_is_refused(lag_stand: StandOf, mounted: Mount) -> None:
    with pytest.raises(InputError, match="clock = 'free_running', the model runs 'stepped'"):
        mounted(dataclasses.replace(lag_stand("in_process"), clock="free_running"))


def test_scale_and_offset_come_after_the_unit(lag_stand: StandOf, mounted: Mount) -> None:
    stand = lag_stand("in_process")
    channels = {**stand.channels, "manifold_pressure": ChannelMap("map", "kPa", 2.0, 1.0)}
    session = mounted(dataclasses.replace(stand, channels=channels)).session
    reply = session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    assert reply[0, 0] == pytest.approx(2.0 * convert(37.0, "kPa", "inHg") + 1.0, rel=1e-12)


@pytest.mark.parametrize(
    ("factory", "code", "word"),
    [
        ("Raising", "crash", "ZeroDivisionError: valve overlap of zero"),
        ("Leaving", "crash", "SystemExit"),
        ("Shapeless", "protocol", "shape (1, 1), expected (40, 3, 3)"),
        ("Complex", "protocol", "the numbers are complex"),
        ("broken", "crash", "the factory is on strike"),
        ("not_a_session", "protocol", "without hello, initialise"),
    ],
)
def test_a_python_model_that_fails_ends_in_its_word(
    lag_stand: StandOf, mounted: Mount, factory: str, code: str, word: str
) -> None:
    with pytest.raises(StandError) as caught:
        fly(mounted(lag_stand("in_process", factory)).session)
    assert (caught.value.code, word in caught.value.message) == (code, True), caught.value
    if code == "crash":
        assert "lag_engine.py" in caught.value.evidence
        assert "guarded_call" not in caught.value.evidence


def test_a_model_cannot_change_our_numbers(lag_stand: StandOf, mounted: Mount) -> None:
    session = mounted(lag_stand("in_process", "Meddling")).session
    session.initialise([Start("running", (0.3, 2.0))], 1800, INPUTS, OUTPUTS)
    rows = np.full((2, 1, 2), 0.5)
    first = session.advance([0], rows)
    kept = first.copy()
    session.advance([0], rows)
    assert np.all(rows == 0.5)
    assert first.tobytes() == kept.tobytes()


@pytest.mark.parametrize(
    ("target", "word"), [("nowhere.py:make", "no such file"), ("lag_engine.py:mak", "did you mean 'make'")]
)
def test_a_target_that_does_not_exist_is_told(
    lag_stand: StandOf, mounted: Mount, target: str, word: str
) -> None:
    stand = lag_stand("in_process")
    folder = Path(stand.target.rpartition(":")[0]).parent
    with pytest.raises(InputError, match=word) as caught:
        mounted(dataclasses.replace(stand, target=str(folder / target)))
    assert caught.value.hint


def test_a_file_that_cannot_be_imported_is_told(stand_of: StandOf, mounted: Mount, tmp_path: Path) -> None:
    (tmp_path / "torn.py").write_text("def make(:\n", encoding="utf-8")
    stand = dataclasses.replace(
        stand_of(kind="in_process", target="lag_engine.py:make"), target="torn.py:make"
    )
    with pytest.raises(StandError, match=r"importing torn\.py raised SyntaxError"):
        mounted(stand)


@pytest.mark.parametrize("kind", KINDS)
def test_more_lanes_than_the_model_has_are_refused(lag_stand: StandOf, mounted: Mount, kind: str) -> None:
    session = mounted(lag_stand(kind)).session
    with pytest.raises(StandError, match="9 lanes asked for, the model has 1 to 8"):
        session.initialise([Start("running", (0.3, 2.0))] * 9, 1800, INPUTS, OUTPUTS)


def test_a_channel_the_model_lacks_is_named(lag_stand: StandOf, mounted: Mount) -> None:
    with pytest.raises(InputError, match="did you mean 'throttle'"):
        mounted(lag_stand("in_process")).session.initialise([], 1800, ["throttles"], OUTPUTS)


def test_stdio_has_no_options(lag_stand: StandOf) -> None:
    with pytest.raises(InputError, match="no option 'lag'"):
        stdio.open_stand(dataclasses.replace(lag_stand("stdio"), options={"lag": 2}), defect=None)


def test_the_installation_offers_its_adapters(lag_stand: StandOf) -> None:
    assert {"in_process", "stdio", "reference_engine"} <= set(installed_kinds())
    assert find_adapter("stdio") is stdio.open_stand
    with mount(lag_stand("in_process"), defect=None) as stand:
        assert stand.facts()["model"] == "lag engine"
    with pytest.raises(InputError, match="did you mean 'in_process'"):
        find_adapter("in_proces")
