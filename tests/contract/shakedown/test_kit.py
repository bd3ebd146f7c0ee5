"""The kit itself: hangs, programs that do not go, models of one lane, what it declares not applicable."""

import dataclasses
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from leverproof.errors import InputError, StandError, UsageError
from leverproof.stand.port import Capabilities, Deadlines, Hello, Session, StandFile
from leverproof.stand.shakedown import Shakedown, shakedown
from leverproof.stand.shakedown.talk import LineTalk, open_talk
from leverproof.stand.shakedown.watch import Watch
from leverproof_adapters import in_process, stdio

FAULTS = Path(__file__).resolve().parents[2] / "models" / "shakedown_faults.py"
Shaken = Callable[..., Shakedown]


def program(*words: str, request: float = 5.0) -> StandFile:
    """The engine as a child process."""
    return StandFile(
        path=str(FAULTS),
        title="a program",
        kind="stdio",
        command=(sys.executable, str(FAULTS), *words),
        deadlines=Deadlines(request=request),
    )


class Declaring:
    """A session that declares something else of itself."""

    def __init__(self, session: Session, changes: dict[str, object]) -> None:
        self._session, self._changes = session, changes

    def __getattr__(self, name: str) -> object:
        return getattr(self._session, name)

    def hello(self) -> Hello:
        said = self._session.hello()
        can = dataclasses.replace(said.capabilities, **self._changes)  # type: ignore[arg-type]
        return dataclasses.replace(said, capabilities=can)


def declaring(clock: str = "stepped", **changes: object) -> Shakedown:
    """The honest engine with other capabilities; wide deadlines, because nothing is to be timed here."""
    stand = dataclasses.replace(program(), kind="in_process", target=f"{FAULTS.name}:make", clock=clock)

    def opened(stand: StandFile, *, defect: str | None) -> Session:
        session = in_process.open_stand(stand, defect=defect).guarded  # type: ignore[attr-defined]
        return Declaring(session, {**changes, "clock": clock})  # type: ignore[return-value]

    return shakedown(stand, adapters={"in_process": opened}, clock=lambda: 0.0)


def test_a_hang_costs_one_item(shaken: Shaken) -> None:
    found = shaken("hangs-on-nan", request=0.3, items=["repeat", "nan", "refusal", "clean-end"])
    assert [(r.name, r.ending) for r in found.results] == [
        ("handshake", "pass"),
        ("repeat", "pass"),
        ("nan", "fail"),
        ("refusal", "pass"),
        ("clean-end", "pass"),
    ]
    assert "no answer to advance within" in found.results[2].outcome.seen


def test_a_watch_lets_work_end_and_passes_errors_on() -> None:
    assert Watch(0.0).run(lambda: 7) == 7
    with pytest.raises(ZeroDivisionError):
        Watch(0.0).run(lambda: 1 // 0)


def test_a_watch_leaves_work_that_does_not_end() -> None:
    watch, release = Watch(0.0), threading.Event()

    def work() -> None:
        with watch.within(0.05, "starting"):
            release.wait(60.0)
        with watch.within(60.0, "what comes after"):
            release.set()

    with pytest.raises(StandError, match=r"no answer to starting within 0\.05 s") as caught:
        watch.run(work)
    assert caught.value.code == "hang"
    release.set()
    with pytest.raises(SystemExit), watch.within(1.0, "anything"):
        pass


@pytest.mark.parametrize(
    ("end", "ending", "word"),
    [
        ("clean", "pass", "no process left"),
        ("code", "fail", "ended with code 3"),
        ("lingers", "fail", "still running 0.6 s after"),
    ],
)
def test_how_a_program_ends(end: str, ending: str, word: str) -> None:
    found = shakedown(program("--end", end, request=0.6), items=["clean-end"])
    assert (found.results[-1].ending, word in found.results[-1].outcome.seen) == (ending, True), found


def test_a_program_is_asked_past_its_adapter(honest: dict[str, StandFile]) -> None:
    found = shakedown(honest["c"], items=["refusal"]).results[-1]
    assert found.ending == "pass", found
    assert found.outcome.measures["tried"] == 19


def test_a_program_that_dies_of_a_bad_request_fails() -> None:
    """A program that knows no checks: the first column it does not have ends it."""
    unchecked = dataclasses.replace(program(), command=(sys.executable, str(FAULTS.with_name("faulty_model.py"))))
    found = shakedown(unchecked, items=["refusal"]).results[-1]
    assert (found.ending, "the model ended while answering" in found.outcome.seen) == ("fail", True), found


def test_a_talk_leaves_no_process() -> None:
    talk = open_talk(program(), stdio.open_stand)
    assert isinstance(talk, LineTalk)
    assert talk.end() is False
    assert talk._child.returncode is not None


def test_one_lane_without_reset() -> None:
    found = declaring(lanes=1, reset=False)
    assert found.ended("not applicable") == ("reset", "lanes", "some-lanes")
    assert found.exit_code == 0


def test_a_model_that_is_not_deterministic() -> None:
    found = declaring(deterministic=False)
    skipped = {"repeat", "reopened", "initialised-again", "reset", "single-steps", "random-batches", "paused"}
    assert set(found.ended("not applicable")) == skipped | {
        "column-order",
        "lanes",
        "some-lanes",
        "grid-step",
    }
    assert found.exit_code == 0


def test_a_model_that_only_says_it_has_a_clock_of_its_own() -> None:
    found = declaring(clock="free_running")
    assert found.ended("fail") == ("own-clock",)
    assert "neither be told nor polled" in next(r.outcome.seen for r in found.results if r.name == "own-clock")


def test_surroundings_that_cannot_be_set() -> None:
    assert "surroundings" in declaring(settable_surroundings=False).ended("not applicable")


def test_an_unknown_item_is_named(shaken: Shaken) -> None:
    with pytest.raises(UsageError, match="did you mean 'clean-end'"):
        shaken("none", items=["clean-ends"])


def test_a_stand_that_does_not_fit_is_an_input_error() -> None:
    with pytest.raises(InputError, match="clock = 'free_running', the model runs 'stepped'"):
        shakedown(dataclasses.replace(program(), clock="free_running"))


def test_capabilities_are_those_the_tests_change() -> None:
    assert {"lanes", "reset", "deterministic", "settable_surroundings", "clock"} <= set(
        Capabilities.__dataclass_fields__
    )
