"""The port: what the harness asks of a mounted model, in any language, by structure and not by inheritance.

A *session* holds one mounted model. It may run many independent *lanes* (copies of the engine) in lockstep. All
arrays are float64; column order is fixed once, in ``initialise``. Numbers of discrete channels are the index of
their state.

Row convention: row ``i`` holds the inputs over [t_i, t_i+1); reply row ``i`` the outputs at t_i+1; the outputs at
t_0 come back from ``initialise``. A lane's numbers must be the same whatever its neighbours are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Signal:
    """One input or output of a model: its name and unit there; ``states`` for a discrete channel."""

    name: str
    unit: str
    states: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Capabilities:
    """What a session can do. ``lanes`` engines at once; ``max_values`` numbers in one message; ``clock`` is
    ``stepped`` or ``free_running``; ``rate`` seconds of a free-running model's clock in one second of ours, None
    where it does not say."""

    lanes: int = 1
    max_values: int = 50_000
    reset: bool = True
    deterministic: bool = True
    settable_surroundings: bool = True
    save_state: bool = False
    clock: str = "stepped"
    rate: float | None = None


@dataclass(frozen=True, slots=True)
class Hello:
    """What the model says of itself. ``derived_from`` tells whose physics and coefficients it uses."""

    model: str
    version: str
    inputs: tuple[Signal, ...]
    outputs: tuple[Signal, ...]
    capabilities: Capabilities
    derived_from: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Start:
    """How one lane begins: ``engine`` is ``running`` or ``stopped``, ``row`` the inputs at t_0 in column order."""

    engine: str
    row: tuple[float, ...]


class Session(Protocol):
    """A mounted model. Every method may raise :class:`leverproof.errors.StandError`; ``close`` never raises."""

    def hello(self) -> Hello:
        """The model's description; the same at each call."""
        ...

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Begin len(starts) fresh lanes; returns outputs at t_0, shape (lanes, outputs). May be called again, which
        forgets the earlier lanes."""
        ...

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Advance the named lanes through ``rows`` of shape (n, len(lanes), inputs); returns
        (n, len(lanes), outputs). Lanes not named stand still."""
        ...

    def reset(self) -> None:
        """Forget all lanes and every trace of them."""
        ...

    def close(self) -> None:
        """End the model. May be called twice."""
        ...


@dataclass(frozen=True, slots=True)
class Polled:
    """What a free-running model showed when it was polled: its own ``time`` (s) and every output by its name
    there."""

    time: float
    values: Mapping[str, float]


class OwnClock(Protocol):
    """A model that runs on its own clock and can only be told and polled; numbers in its own names and units. Every
    method but ``close`` may raise :class:`leverproof.errors.StandError`."""

    def hello(self) -> Hello:
        """The model's description; the same at each call."""
        ...

    def begin(self, engine: str, values: Mapping[str, float]) -> None:
        """Puts the model back to its beginning with all inputs at ``values``; its clock may begin anew. Only for a
        model with the capability ``reset``."""
        ...

    def tell(self, values: Mapping[str, float]) -> float:
        """Sets the inputs named, at once; the model's own time (s) from which they hold."""
        ...

    def poll(self) -> Polled:
        """What the model shows now."""
        ...

    def close(self) -> None:
        """End the model. May be called twice."""
        ...


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """What the clock of a free-running model showed in the run under way, seconds of its own time: ``jitter`` how far
    an instant may be from where its row says (half-width), ``gap`` between two polls at most, ``late`` the latest
    that a lever arrived, ``rate`` seconds of it in one of ours (NaN: not seen), ``polls`` with a stamp of their
    own."""

    jitter: float
    gap: float
    late: float
    rate: float
    polls: int


@dataclass(frozen=True, slots=True)
class Deadlines:
    """Seconds allowed: to the reply to ``hello``; for any later request; and more for each row of a batch."""

    start: float = 30.0
    request: float = 5.0
    row: float = 0.02


@dataclass(frozen=True, slots=True)
class ChannelMap:
    """How one of our channels is found in the model: ``name`` and ``unit`` there; canonical = scale * theirs +
    offset after the unit conversion. ``lit_now`` says of a light that the model tells only whether it is lit now
    (see :mod:`leverproof.stand.lamp`). ``detents`` are the model's numbers for our states of a discrete lever that it
    takes as a number.

    Only for a recording: ``states`` names our state for each word of the column; ``delay`` (s) and ``resolution``
    (canonical unit, None when nobody stated it) are the gauge's; ``constant`` (canonical unit) stands for a column
    that was not recorded because it never changed."""

    name: str
    unit: str | None = None
    scale: float = 1.0
    offset: float = 0.0
    lit_now: bool = False
    detents: dict[str, float] = field(default_factory=dict)
    states: dict[str, str] = field(default_factory=dict)
    delay: float = 0.0
    resolution: float | None = None
    constant: float | None = None


@dataclass(frozen=True, slots=True)
class StandFile:
    """A parsed stand file. ``path`` is where it was read; relative targets are beside it.

    ``engines`` has one word for each engine of the model, which stands for ``{engine}`` in mapped names; ``tested``
    are the engines, from 1, that the cases are flown on; ``engine`` the one meant just now; ``held`` where a lever of
    all other engines stands (canonical units, by our name of the lever)."""

    path: str
    title: str
    kind: str
    target: str = ""
    command: tuple[str, ...] = ()
    build_hint: str = ""
    sheet: str = ""
    engine: int = 1
    engines: tuple[str, ...] = ("1",)
    tested: tuple[int, ...] = (1,)
    held: dict[str, float] = field(default_factory=dict)
    grid_step: str = "0.05 s"
    clock: str = "stepped"
    deadlines: Deadlines = field(default_factory=Deadlines)
    channels: dict[str, ChannelMap] = field(default_factory=dict)
    options: dict[str, Any] = field(default_factory=dict)
    defect_argument: str = ""
    defects: dict[str, dict[str, Any]] = field(default_factory=dict)
    coefficient_argument: str = ""
    coefficients: dict[str, float] = field(default_factory=dict)
    recording: dict[str, Any] = field(default_factory=dict)
    processes: int = 1


class OpenStand(Protocol):
    """What an entry point of group ``leverproof.stands`` is: mounts a model (this runs the model's code)."""

    def __call__(self, stand: StandFile, *, defect: str | None) -> Session:
        """A session that has not yet said hello. ``defect`` names a seeded defect to build in, or None."""
        ...
