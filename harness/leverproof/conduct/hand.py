"""The pilot's hand: where the levers are, what the last seconds showed, how a lever is moved. No I/O.

Functions that need to see are generators: they yield a :class:`Leg` and are sent what was ``Seen``.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping
from typing import TypeVar

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.looks import Answer, Ask, Leg, Seen
from leverproof.conduct.model import Block, Program, Row
from leverproof.history import AFTER, BEFORE, Rows
from leverproof.timegrid import TICKS_PER_SECOND

T = TypeVar("T")
Steps = Generator[Leg, Seen, T]

COUPLING_TOLERANCE = 0.01
# How much of the past a pilot is shown beside the leg it has just flown.
MEMORY = 10 * TICKS_PER_SECOND


class RefusedError(Exception):
    """A step that cannot be flown as written; the words go into the run's trouble."""


def held(channel: str, value: float) -> float:
    """The value a lever takes when asked for ``value``: continuous levers stay between their stops."""
    known = CHANNELS[channel]
    if known.kind == "lever" and not known.states:
        return min(1.0, max(0.0, value))
    return value


class Hand:
    """Mutable state of one run: ``position`` (inputs now, never changed in place), ``row`` (rows flown and planned),
    ``still_since`` (row at which an input last changed), ``lead`` while boost is coupled to throttle.

    Moves and holds are only planned until :meth:`look` has them flown: what needs no look costs no waking of the
    pilot. What is asked of ``tail`` and the windows is as of the last look."""

    __slots__ = (
        "_leg", "_places", "_seen", "_silence", "columns", "control", "grid", "inputs", "lead", "outputs", "position",
        "row", "still_since", "window",
    )  # fmt: skip

    def __init__(self, program: Program, inputs: tuple[str, ...], outputs: tuple[str, ...]) -> None:
        self._places = {name: place for place, name in enumerate(inputs)}
        missing = [name for name in inputs if name not in program.start]
        if missing:
            raise RefusedError(f"the program does not say where to start {', '.join(missing)}")
        self.inputs = inputs
        self.outputs = outputs
        self.columns = inputs + outputs
        self.grid = program.grid
        self.control = program.grid.rows_per_control
        self.window = program.grid.rows(BEFORE + AFTER)
        self.position: Row = np.array([held(name, program.start[name]) for name in inputs], dtype=np.float64)
        self.row = 0
        self.still_since = 0
        self.lead: float | None = None
        self._leg: list[Block] = []
        self._silence = 0.0
        self._seen: Rows = np.empty((0, len(inputs) + len(outputs)), np.float32)

    def column(self, name: str) -> int:
        """Column of an output; refused when the stand does not give it."""
        if name not in self.outputs:
            raise RefusedError(f"the stand has no reading {name}")
        return self.outputs.index(name)

    def value(self, name: str) -> float:
        """Where an input is now; refused when the stand does not accept it."""
        return float(self.position[self.place_of(name)])

    def place_of(self, name: str) -> int:
        """Place of an input among the inputs; refused when the stand does not accept it."""
        place = self._places.get(name)
        if place is None:
            raise RefusedError(f"the stand has no input {name}")
        return place

    def look(self, ask: Ask | None = None) -> Steps[Answer]:
        """Have what is planned flown, see it, and get the answer to ``ask``."""
        if not self._leg and ask is None:
            return None
        leg, self._leg = self._leg, []
        silence = 0.0
        if leg:
            silence, self._silence = self._silence, 0.0
        self._seen, answer = yield Leg(leg, ask, silence)
        return answer

    def pause(self, seconds: float) -> Steps[None]:
        """Have what is planned flown, and let ``seconds`` of wall time pass before what comes next."""
        yield from self.look()
        self._silence += seconds

    def hold(self, rows: int) -> None:
        """Keep everything where it is for ``rows`` rows."""
        self._leg.append(Block(self.position, self.position, rows))
        self.row += rows

    def _go(self, start: Row, end: Row, rows: int) -> None:
        self._leg.append(Block(start, end, rows))
        self.row += rows
        self.position = end
        self.still_since = self.row

    def placed(self, levers: Mapping[str, float]) -> Row:
        """The inputs after ``levers`` went to their places, with boost following throttle while coupled."""
        end = self.position.copy()
        for name, asked in levers.items():
            end[self.place_of(name)] = held(name, asked)
        if self.lead is not None:
            boost = self.inputs.index("boost")
            follows = held("boost", float(end[self.inputs.index("throttle")]) + self.lead)
            if "boost" in levers and abs(float(end[boost]) - follows) > COUPLING_TOLERANCE:
                raise RefusedError(f"boost is coupled to throttle and cannot be put to {levers['boost']:g} on its own")
            end[boost] = follows
        return end

    def jump(self, levers: Mapping[str, float]) -> None:
        """Put levers and surroundings to new places at this instant."""
        end = self.placed(levers)
        if end.tolist() != self.position.tolist():
            self.position = end
            self.still_since = self.row

    def ramp(self, levers: Mapping[str, float], rows: int) -> None:
        """Move levers and surroundings in a straight line over ``rows`` rows."""
        end = self.placed(levers)
        if end.tolist() == self.position.tolist():
            self.hold(rows)
        else:
            self._go(self._levelled(end, levers), end, rows)

    def _levelled(self, end: Row, levers: Mapping[str, float]) -> Row:
        """Where a ramp to ``end`` begins: discrete levers are there at once."""
        discrete = [self.inputs.index(name) for name in levers if CHANNELS[name].states]
        if not discrete:
            return self.position
        start = self.position.copy()
        start[discrete] = end[discrete]
        return start

    def push(self, lever: str, place: float, rows: int) -> None:
        """Move one continuous lever in a straight line over ``rows`` rows, as :meth:`ramp` would."""
        end = self.position.copy()
        end[self.place_of(lever)] = place = min(1.0, max(0.0, place))
        if self.lead is not None and lever == "throttle":
            end[self.inputs.index("boost")] = held("boost", place + self.lead)
        self._go(self.position, end, rows)

    def couple(self, lead: float) -> None:
        """From now on boost is throttle plus ``lead``; refused when they are apart by more than 1 % of
        travel."""
        apart = self.value("boost") - self.value("throttle") - lead
        if abs(apart) > COUPLING_TOLERANCE:
            raise RefusedError(
                f"throttle {self.value('throttle'):.3f} and boost {self.value('boost'):.3f} cannot be coupled"
                f" with a lead of {lead:+.3f}: they are {abs(apart):.3f} off, "
                f"{COUPLING_TOLERANCE:g} is allowed"
            )
        self.lead = lead
        self.jump({})

    def known_rows(self) -> int:
        """How many of the latest rows (up to one steadiness window) can be looked at with inputs and
        outputs."""
        return min(self.window, self.row - 1)

    def tail(self, column: int, rows: int, ago: int = 0) -> list[float]:
        """The last ``rows`` samples of one output, or as many as are kept, as of ``ago`` rows before now."""
        column += len(self.inputs)
        found: list[float] = self._seen[-rows - ago : -ago or None, column].tolist()
        return found

    def latest(self, rows: int) -> Rows:
        """The last ``rows`` rows of outputs, the one of this instant included."""
        return self._seen[-rows:, len(self.inputs) :]

    def outputs_window(self, rows: int) -> Rows:
        """Outputs of the history rows [row - rows, row), shape (rows, outputs)."""
        return self._seen[-rows - 1 : -1, len(self.inputs) :]

    def history_window(self, rows: int) -> Rows:
        """The history rows [row - rows, row), inputs first, shape (rows, inputs + outputs)."""
        return self._seen[-rows - 1 : -1]
