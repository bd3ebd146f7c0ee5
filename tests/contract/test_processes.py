"""Several processes behind one stand: the same bits as one, faults kept apart, and children that are used again."""

from __future__ import annotations

import dataclasses
import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError, StandError
from leverproof.stand.guard import GuardedSession
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, StandFile, Start
from leverproof.stand.processes import ProcessesSession, open_processes
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import stdio, tcp

StandOf = Callable[..., StandFile]
Mount = Callable[..., MountedStand]
Gone = Callable[[int | None], bool]
MODELS = Path(__file__).resolve().parents[1] / "models"
THROTTLES = (0.1, 0.3, 0.2, 0.45, 0.05)


def flown(session: Session, inputs: tuple[str, ...], outputs: tuple[str, ...]) -> Array:
    """Five lanes in batches of different size, lanes in different order and not all of them each time."""
    count = len(THROTTLES)
    rows = np.zeros((12, count, len(inputs)))
    rows[:, :, inputs.index("throttle")] = np.linspace(THROTTLES, THROTTLES[::-1], 12)
    starts = [Start("running", tuple(row)) for row in rows[0]]
    parts = [session.initialise(starts, 1800, inputs, outputs)]
    for first, last, lanes in (
        (0, 5, [0, 1, 2, 3, 4]),
        (5, 6, [4, 1]),
        (6, 9, [2]),
        (9, 12, [3, 0, 4, 1, 2]),
    ):
        parts.append(session.advance(lanes, rows[first:last][:, lanes]))
    return np.concatenate([part.ravel() for part in parts])


@pytest.mark.parametrize("kind", ["stdio", "tcp", "c_library"])
def test_the_same_bits_as_one_process(
    kind: str, faulty: StandOf, stream_stand: StandOf, library_stand: StandOf, mounted: Mount
) -> None:
    stand = {
        "stdio": lambda: faulty("none"),
        "tcp": lambda: stream_stand("none", "tcp", frames=True),
        "c_library": library_stand,
    }[kind]()
    numbers, lanes = [], []
    for processes in (2, 3, 5):
        one = mounted(dataclasses.replace(stand, processes=processes))
        numbers.append(flown(one.session, one.available_inputs, one.available_outputs).tobytes())
        lanes.append(one.capabilities.lanes // processes)
    alone = mounted(stand)
    # What one process has too few lanes for is flown in two goes, a lane with other neighbours.
    assert lanes == [alone.capabilities.lanes] * 3
    assert len(set(numbers)) == 1
    if alone.capabilities.lanes >= len(THROTTLES):
        assert numbers[0] == flown(alone.session, alone.available_inputs, alone.available_outputs).tobytes()


def test_each_lane_is_as_alone(faulty: StandOf, mounted: Mount) -> None:
    several, alone = mounted(dataclasses.replace(faulty("none"), processes=3)), mounted(faulty("none"))
    inputs, outputs = alone.available_inputs, alone.available_outputs
    rows = np.zeros((7, len(THROTTLES), len(inputs)))
    rows[:, :, inputs.index("throttle")] = THROTTLES
    starts = [Start("running", (0.6,) * len(inputs)) for _ in THROTTLES]
    several.session.initialise(starts, 900, inputs, outputs)
    together = several.session.advance(range(len(THROTTLES)), rows)
    for lane in range(len(THROTTLES)):
        alone.session.initialise(starts[:1], 900, inputs, outputs)
        assert (
            alone.session.advance([0], rows[:, lane : lane + 1])[:, 0].tobytes()
            == together[:, lane].tobytes()
        )


def driven(session: Session, throttles: tuple[float, ...]) -> Array:
    starts = [Start("running", (0.3, 2.0)) for _ in throttles]
    session.initialise(starts, 1800, ("throttle", "mixture"), ("manifold_pressure", "engine_speed"))
    rows = np.full((4, len(throttles), 2), 2.0)
    rows[:, :, 0] = throttles
    return session.advance(range(len(throttles)), rows)


def opened(stand: StandFile, count: int) -> ProcessesSession:
    module = {"stdio": stdio, "tcp": tcp}[stand.kind]
    return open_processes(lambda: module.open_stand(stand, defect=None), count)


def above(stand: StandFile) -> StandFile:
    return dataclasses.replace(stand, command=(*stand.command, "--above", "0.5"))


@pytest.mark.parametrize(("vice", "code"), [("dies", "crash"), ("hangs", "hang"), ("wrong_id", "protocol")])
def test_an_error_names_the_lanes_of_its_process(faulty: StandOf, gone: Gone, vice: str, code: str) -> None:
    session = opened(above(faulty(vice, request="1.5 s")), 3)
    session.hello()
    groups = session.groups
    with pytest.raises(StandError) as caught:
        driven(session, (0.1, 0.1, 0.1, 0.1, 0.9, 0.1, 0.1))
    assert (caught.value.code, caught.value.lanes) == (code, (1, 4))
    session.close()
    session.close()
    assert all(gone(group) for group in groups)


def test_two_processes_that_fail_are_both_named(faulty: StandOf) -> None:
    session = opened(above(faulty("dies")), 3)
    session.hello()
    with pytest.raises(StandError) as caught:
        driven(session, (0.9, 0.1, 0.9, 0.1))
    assert caught.value.lanes == (0, 2, 3)
    session.close()


def test_each_process_has_its_own_deadline(faulty: StandOf) -> None:
    """Four that hang take no longer than one."""
    session = opened(above(faulty("hangs", request="2 s")), 4)
    session.hello()
    began = time.monotonic()
    with pytest.raises(StandError):
        driven(session, (0.9,) * 4)
    assert time.monotonic() - began < 3 * 2.0
    session.close()


def test_one_that_does_not_come_up_takes_the_others_with_it(tmp_path: Path, gone: Gone) -> None:
    made: list[Session] = []

    def open_one() -> Session:
        if len(made) == 2:
            raise StandError("no more of them", code="no_program")
        words = (sys.executable, str(MODELS / "faulty_model.py"))
        made.append(
            stdio.open_stand(StandFile(str(tmp_path / "s"), "t", "stdio", command=words), defect=None)
        )
        return made[-1]

    with pytest.raises(StandError, match="no more of them"):
        open_processes(open_one, 3)
    assert all(gone(session.group) for session in made)  # type: ignore[attr-defined]


class Told:
    """A session that says what it is told to."""

    def __init__(self, version: str) -> None:
        self.version = version
        self.threads: set[int] = set()

    def hello(self) -> Hello:
        self.threads.add(threading.get_ident())
        signals = (Signal("throttle", "1"),), (Signal("manifold_pressure", "inHg"),)
        return Hello("told", self.version, *signals, Capabilities(lanes=2, max_values=10))


def test_processes_must_say_the_same_of_themselves() -> None:
    sessions = [GuardedSession(Told(version)) for version in ("1", "1", "2")]  # type: ignore[arg-type]
    with pytest.raises(StandError, match="describe themselves differently") as caught:
        ProcessesSession(sessions).hello()
    assert caught.value.code == "protocol"
    said = ProcessesSession(sessions[:2]).hello()
    assert (said.capabilities.lanes, said.capabilities.max_values) == (4, 20)


def test_an_interrupt_waits_for_no_deadline(faulty: StandOf, gone: Gone) -> None:
    import signal

    session = opened(above(faulty("hangs", request="60 s")), 2)
    session.hello()
    groups = session.groups
    threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        driven(session, (0.9, 0.1))
    session.close()
    assert time.monotonic() - began < 30.0
    assert all(gone(group) for group in groups)


STAND = 'format = 1\ntitle = "t"\nprocesses = {count}\n{rest}\n'


@pytest.mark.parametrize(
    ("count", "rest", "words"),
    [
        (2, 'kind = "reference_engine"', "has no processes of its own"),
        (2, 'kind = "in_process"\ntarget = "a.py:make"', "has no processes of its own"),
        (2, 'kind = "tcp"\ntarget = "127.0.0.1:5100"', "port 0"),
        (2, 'kind = "tcp"\ntarget = "127.0.0.1:5100"\ncommand = ["./m", "{port}"]', "port 0"),
        (2, 'kind = "stdio"\ncommand = ["./m"]\nclock = "free_running"', "a clock of its own"),
        (0, 'kind = "stdio"\ncommand = ["./m"]', "processes"),
        (65, 'kind = "stdio"\ncommand = ["./m"]', "processes"),
        ('"two"', 'kind = "stdio"\ncommand = ["./m"]', "processes"),
    ],
)
def test_where_there_can_be_only_one(count: object, rest: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_stand_file(STAND.format(count=count, rest=rest), "s.toml")
    assert words in str(caught.value)
    assert "processes" in caught.value.where


@pytest.mark.parametrize(
    "rest",
    [
        'kind = "reference_engine"\n',
        'kind = "stdio"\ncommand = ["./m"]\n',
        'kind = "fmi"\ntarget = "u.fmu"\n',
    ],
)
def test_one_is_allowed_everywhere_and_several_where_a_process_is_started(rest: str) -> None:
    assert parse_stand_file(STAND.format(count=1, rest=rest), "s.toml").processes == 1
    if "reference" not in rest:
        assert parse_stand_file(STAND.format(count=64, rest=rest), "s.toml").processes == 64
