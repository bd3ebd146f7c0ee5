"""A lamp told only as lit or dark: off, blinking or on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.lamp import BLINKING, LIGHT, OFF, ON, Lamp
from leverproof.stand.mapped import MappedSession, link
from leverproof.stand.port import Array, Capabilities, ChannelMap, Hello, Signal, StandFile, Start
from leverproof.stand.stand_file import parse_stand_file

STEP = 1800
SECOND = 36_000 // STEP


def shone(*parts: tuple[float, float], step: int = STEP) -> list[float]:
    """Lit or dark, part after part: seconds, and hertz (0 dark, -1 lit)."""
    out: list[float] = []
    for seconds, hertz in parts:
        count = round(seconds * 36_000 / step)
        at = np.arange(count) * step / 36_000
        lit = (at * hertz) % 1.0 < 0.5 if hertz > 0.0 else np.full(count, hertz < 0.0)
        out += lit.astype(float).tolist()
    return out


def seen(lit: Sequence[float], *, step: int = STEP, batch: int = 0) -> Array:
    lamp = Lamp(step)
    size = batch or len(lit)
    return np.concatenate([lamp.see(lit[at : at + size]) for at in range(0, len(lit), size)])


@pytest.mark.parametrize("step", [720, 1800, 3600])
@pytest.mark.parametrize("hertz", [0.7, 1.0, 1.5, 2.0, 3.0])
def test_a_blinking_lamp(hertz: float, step: int) -> None:
    """Dark, blinking, dark, blinking, lit: never taken for lit before it is, and told within a second."""
    second = 36_000 / step
    lit = shone((5, 0), (10, hertz), (5, 0), (10, hertz), (5, -1), step=step)
    found = seen(lit, step=step)
    told = round((0.5 / hertz + 2.0 / second) * second)
    rest = round((max(0.75, 0.75 / hertz) + 0.5 / hertz + 2.0 / second) * second)
    edges = [round(at * second) for at in (0, 5, 15, 20, 30, 35)]
    assert (found[: edges[1]] == OFF).all()
    assert (found[edges[1] + told : edges[2]] == BLINKING).all()
    assert (found[edges[2] + rest : edges[3]] == OFF).all()
    assert (found[edges[3] + told : edges[4]] == BLINKING).all()
    assert (found[edges[4] + rest :] == ON).all()
    assert not (found[: edges[4]] == ON).any()


@pytest.mark.parametrize(("hertz", "state"), [(0.0, OFF), (-1.0, ON)])
def test_a_steady_lamp_is_told_at_once(hertz: float, state: float) -> None:
    assert (seen(shone((6, hertz))) == state).all()


def test_going_on_and_off_is_told_three_quarters_of_a_second_late() -> None:
    found = seen(shone((5, 0), (5, -1), (5, 0)))
    changes = (np.flatnonzero(np.diff(found)) + 1) / SECOND
    assert changes.tolist() == pytest.approx([5.75, 10.75])
    assert not (found == BLINKING).any()


def test_two_toggles_within_three_seconds_blink_and_further_apart_do_not() -> None:
    slow = seen(shone((5, 0), (2.9, -1), (10, 0)))
    assert (slow == BLINKING).sum() == round(3.0 * SECOND)
    assert not (seen(shone((5, 0), (3.1, -1), (10, 0))) == BLINKING).any()


@pytest.mark.parametrize("batch", [1, 7, 100])
def test_batches_make_no_difference(batch: int) -> None:
    lit = shone((3, 0), (6, 1.3), (4, -1), (4, 2.2), (4, 0))
    assert np.array_equal(seen(lit), seen(lit, batch=batch))


def test_what_is_no_number_stays_none_and_teaches_nothing() -> None:
    found = seen([0.0, 0.0, float("nan"), 0.0, 1.0])
    assert np.isnan(found[2]) and found[[0, 1, 3, 4]].tolist() == [OFF] * 4


class Blinker:
    """Two lanes of a lamp: the first blinks at 2 Hz while the throttle is open, the second never."""

    states: tuple[str, ...] = ()
    lit, dark = 1.0, 0.0

    def hello(self) -> Hello:
        light = Signal("OVSPD", "1", self.states)
        return Hello("blinker", "1", (Signal("throttle", "1"),), (light,), Capabilities(lanes=2))

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.row = 0
        return np.full((len(starts), 1), self.dark)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        out = np.full((len(rows), len(lanes), 1), self.dark)
        for i in range(len(rows)):
            self.row += 1
            for k, lane in enumerate(lanes):
                if lane == 0 and rows[i, k, 0] > 0.5 and self.row % 10 < 5:
                    out[i, k] = self.lit
        return out

    def reset(self) -> None: ...

    def close(self) -> None: ...


class Worded(Blinker):
    """The same with states in an order of its own."""

    states = ("on", "off")
    lit, dark = 0.0, 1.0


STAND = StandFile(path="s.toml", title="s", kind="in_process", channels={LIGHT: ChannelMap("OVSPD", lit_now=True)})


@pytest.mark.parametrize("model", [Blinker, Worded])
def test_a_mapped_session_shows_the_light_lane_by_lane(model: type[Blinker]) -> None:
    session = MappedSession(model(), link(STAND, model().hello()))
    assert session.hello().outputs[0].states == CHANNELS[LIGHT].states
    first = session.initialise([Start("running", (1.0,))] * 2, STEP, ["throttle"], [LIGHT])
    assert first.tolist() == [[OFF], [OFF]]
    out = session.advance([1, 0], np.ones((100, 2, 1)))
    assert (out[:, 0, 0] == OFF).all() and (out[20:, 1, 0] == BLINKING).all()
    still = session.advance([0], np.zeros((60, 1, 1)))
    assert (still[30:, 0, 0] == OFF).all()
    assert session.initialise([Start("running", (1.0,))], STEP, ["throttle"], [LIGHT]).tolist() == [[OFF]]


def test_a_light_with_three_states_is_not_lit_or_dark() -> None:
    class Three(Blinker):
        states = ("off", "blinking", "on")

    with pytest.raises(InputError, match="lit_now is for off and on alone"):
        link(STAND, Three().hello())


TOML = 'format = 1\ntitle = "s"\nkind = "stdio"\ncommand = ["./m"]\n'


def test_the_key_in_a_stand_file() -> None:
    text = f"{TOML}[channels.turbo_overspeed_light]\nname = 'lamp'\nlit_now = true\n"
    found = parse_stand_file(text, "s.toml", kinds=["stdio"])
    assert found.channels[LIGHT] == ChannelMap("lamp", lit_now=True)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"{TOML}[channels.mixture]\nlit_now = true\n", "mixture is no light"),
        (f'{TOML}grid_step = "0.25 s"\n[channels.{LIGHT}]\nlit_now = true\n', "may blink unseen"),
        (f"{TOML}[channels.{LIGHT}]\nlit_now = 1\n", "lit_now"),
    ],
)
def test_where_the_key_does_not_belong(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_stand_file(text, "s.toml", kinds=["stdio"])
