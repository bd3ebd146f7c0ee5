"""The pilot's hand: where the levers are, what the last seconds showed, how a lever is moved. No I/O.

All functions that take time are generators: they yield a :class:`Block` and are sent its output rows.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Mapping
from typing import TypeVar

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.blocks import discrete_columns, expand
from leverproof.conduct.model import Block, Program, Row
from leverproof.history import AFTER, BEFORE, Rows

T = TypeVar("T")
Steps = Generator[Block, Rows, T]

COUPLING_TOLERANCE = 0.01


class RefusedError(Exception):
    """A step that cannot be flown as written; the words go into the run's trouble."""


def held(channel: str, value: float) -> float:
    """The value a lever takes when asked for ``value``: continuous levers stay between their stops."""
    known = CHANNELS[channel]
    if known.kind == "lever" and not known.states:
        return min(1.0, max(0.0, value))
    return value


class Hand:
    """Mutable state of one run: ``position`` (inputs now, never changed in place), ``row`` (rows flown),
    ``still_since`` (row at which an input last changed), ``lead`` while boost is coupled to throttle."""

    __slots__ = (
        "_discrete", "_kept", "_recent", "control", "grid", "inputs", "lead", "outputs", "position", "row",
        "still_since", "window",
    )  # fmt: skip

    def __init__(self, program: Program, inputs: tuple[str, ...], outputs: tuple[str, ...]) -> None:
        missing = [name for name in inputs if name not in program.start]
        if missing:
            raise RefusedError(f"the program does not say where to start {', '.join(missing)}")
        self.inputs = inputs
        self.outputs = outputs
        self.grid = program.grid
        self.control = program.grid.rows_per_control
        self.window = program.grid.rows(BEFORE + AFTER)
        self.position: Row = np.array([held(name, program.start[name]) for name in inputs], dtype=np.float64)
        self.row = 0
        self.still_since = 0
        self.lead: float | None = None
        self._discrete = discrete_columns(inputs)
        self._recent: deque[tuple[Block, Rows]] = deque()
        self._kept = 0

    def column(self, name: str) -> int:
        """Column of an output; refused when the stand does not give it."""
        if name not in self.outputs:
            raise RefusedError(f"the stand has no reading {name}")
        return self.outputs.index(name)

    def value(self, name: str) -> float:
        """Where an input is now; refused when the stand does not accept it."""
        if name not in self.inputs:
            raise RefusedError(f"the stand has no input {name}")
        return float(self.position[self.inputs.index(name)])

    def fly(self, block: Block) -> Steps[Rows]:
        """Fly one block and remember it."""
        reply = yield block
        rows = block.rows
        self.row += rows
        if block.start is not block.end:
            self.still_since = self.row
            self.position = block.end
        elif rows > self.window + 1:
            rows = self.window + 1
            block, reply = Block(block.start, block.end, rows), reply[-rows:]
        self._recent.append((block, reply))
        self._kept += rows
        while self._kept - self._recent[0][0].rows > self.window:
            self._kept -= self._recent.popleft()[0].rows
        return reply

    def hold(self, rows: int) -> Steps[Rows]:
        """Keep everything where it is for ``rows`` rows."""
        return self.fly(Block(self.position, self.position, rows))

    def placed(self, levers: Mapping[str, float]) -> Row:
        """The inputs after ``levers`` went to their places, with boost following throttle while coupled."""
        end = self.position.copy()
        for name, asked in levers.items():
            self.value(name)
            end[self.inputs.index(name)] = held(name, asked)
        if self.lead is not None:
            boost = self.inputs.index("boost")
            follows = held("boost", float(end[self.inputs.index("throttle")]) + self.lead)
            if "boost" in levers and abs(float(end[boost]) - follows) > COUPLING_TOLERANCE:
                raise RefusedError(
                    f"boost is coupled to throttle and cannot be put to {levers['boost']:g} on its own"
                )
            end[boost] = follows
        return end

    def jump(self, levers: Mapping[str, float]) -> None:
        """Put levers and surroundings to new places at this instant."""
        end = self.placed(levers)
        if not (end == self.position).all():
            self.position = end
            self.still_since = self.row

    def ramp(self, levers: Mapping[str, float], rows: int) -> Steps[Rows]:
        """Move levers and surroundings in a straight line over ``rows`` rows."""
        end = self.placed(levers)
        if (end == self.position).all():
            return self.hold(rows)
        return self.fly(Block(self.position, end, rows))

    def push(self, lever: str, place: float, rows: int) -> Steps[Rows]:
        """Move one continuous lever in a straight line over ``rows`` rows, as :meth:`ramp` would."""
        end = self.position.copy()
        end[self.inputs.index(lever)] = place = min(1.0, max(0.0, place))
        if self.lead is not None and lever == "throttle":
            end[self.inputs.index("boost")] = held("boost", place + self.lead)
        return self.fly(Block(self.position, end, rows))

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
        return min(self.window, self._kept - 1)

    def tail(self, column: int, rows: int) -> list[float]:
        """The last ``rows`` samples of one output, or as many as are kept."""
        found: list[float] = []
        for _, reply in reversed(self._recent):
            found = reply[:, column].tolist() + found if found else reply[-rows:, column].tolist()
            if len(found) >= rows:
                break
        return found[-rows:]

    def outputs_window(self, rows: int) -> Rows:
        """Outputs of the history rows [row - rows, row), shape (rows, outputs)."""
        latest: list[Rows] = []
        missing = rows + 1
        for _, reply in reversed(self._recent):
            latest.append(reply[-missing:])
            missing -= reply.shape[0]
            if missing <= 0:
                break
        return latest[0][:-1] if len(latest) == 1 else np.concatenate(latest[::-1])[:-1]

    def history_window(self, rows: int) -> Rows:
        """The history rows [row - rows, row), inputs first, shape (rows, inputs + outputs)."""
        window = np.empty((rows, len(self.inputs) + len(self.outputs)), np.float32)
        if self.row - self.still_since >= rows:
            window[:, : len(self.inputs)] = self.position
        else:
            given = np.concatenate([expand(block, self._discrete) for block, _ in self._recent])
            window[:, : len(self.inputs)] = given[-rows:]
        window[:, len(self.inputs) :] = self.outputs_window(rows)
        return window
