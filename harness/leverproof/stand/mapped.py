"""A session seen in our channels and canonical units, over a model that has its own names, units
and states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from leverproof.channels import CHANNELS, OWN, Channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import unit
from leverproof.stand.lamp import Lamp
from leverproof.stand.port import Array, ChannelMap, ClockSeen, Hello, Session, Signal, StandFile, Start
from leverproof.stand.stand_file import check_dimension
from leverproof.stand.trouble import trouble

_DIFFERENCES = ("temperature_offset",)
"""Channels that are differences: 1 K above standard is 1.8 degF above it, never -457.9 degF."""


@dataclass(frozen=True, slots=True)
class Link:
    """One of our channels found in the model: canonical = scale * theirs + offset.

    For a discrete channel ``to_model`` gives the model's index of each of our states, or the number of a detent; None
    for a state the model does not have; empty when both orders are the same. ``lit_now`` is true of a light that the
    model tells only as lit or dark.
    """

    channel: str
    signal: Signal
    unit: str
    scale: float = 1.0
    offset: float = 0.0
    to_model: tuple[float | None, ...] = ()
    lit_now: bool = False

    @property
    def same(self) -> bool:
        """Whether numbers pass unchanged."""
        return self.scale == 1.0 and self.offset == 0.0 and not self.to_model and not self.lit_now


@dataclass(frozen=True, slots=True)
class Links:
    """How a model's inputs and outputs are found; signals that are no channel of ours are listed,
    not used. ``more`` are the further signals that an input moves along with its own: the same lever of a third and
    fourth engine."""

    inputs: Mapping[str, Link]
    outputs: Mapping[str, Link]
    unmapped_inputs: tuple[str, ...]
    unmapped_outputs: tuple[str, ...]
    warnings: tuple[str, ...]
    more: Mapping[str, tuple[Link, ...]] = field(default_factory=dict)

    def moved_by(self, channel: str) -> tuple[Link, ...]:
        """Every signal that one of our inputs moves."""
        return (_of(self.inputs, channel, "input"), *self.more.get(channel, ()))


def link(stand: StandFile, hello: Hello) -> Links:
    """The channels of ``hello`` by our names.

    Levers are looked for among the inputs, readings among the outputs, surroundings among both. Raises
    :class:`InputError` for a mapped name the model does not have, a unit of the wrong dimension, states that
    cannot be told apart, and two channels on one input.
    """
    sides = {
        "inputs": {signal.name: signal for signal in hello.inputs},
        "outputs": {signal.name: signal for signal in hello.outputs},
    }
    found: dict[str, dict[str, Link]] = {"inputs": {}, "outputs": {}}
    warnings: list[str] = []
    taken = {entry.name for name, entry in stand.channels.items() if entry.name != name}
    for ours in OWN.values():
        entry = stand.channels.get(ours.name)
        if entry is None and ours.name in taken:
            continue
        searched = {"lever": ("inputs",), "reading": ("outputs",)}.get(ours.kind, ("inputs", "outputs"))
        name = entry.name if entry else ours.name
        if ours.kind == "surrounding" and name in sides["inputs"] and not _can_be_told(hello):
            warnings.append(f"{ours.name}: the model runs on its own clock and declares that it cannot be told it")
            continue
        for side in searched:
            if name in sides[side]:
                found[side][ours.name] = _link(ours, sides[side][name], entry, stand, warnings)
        if entry and not any(name in sides[side] for side in searched):
            known = [word for side in searched for word in sides[side]]
            raise InputError(
                f"the model has no {' or '.join(side[:-1] for side in searched)} {name!r} for {ours.name}",
                f"{stand.path}: channels.{ours.name}.name",
                nearest(name, known),
                "unknown_signal",
            )
    _one_lever_each(found["inputs"], stand)
    unmapped = {
        side: tuple(sorted(set(sides[side]) - {entry.signal.name for entry in found[side].values()})) for side in sides
    }
    return Links(found["inputs"], found["outputs"], unmapped["inputs"], unmapped["outputs"], tuple(warnings))


def _can_be_told(hello: Hello) -> bool:
    """Whether surroundings can be set; a stepped model that declares otherwise still takes those of its inputs."""
    return hello.capabilities.clock != "free_running" or hello.capabilities.settable_surroundings


def _one_lever_each(inputs: Mapping[str, Link], stand: StandFile) -> None:
    by_signal: dict[str, str] = {}
    for name, entry in inputs.items():
        other = by_signal.setdefault(entry.signal.name, name)
        if other != name:
            raise InputError(
                f"{other} and {name} are both mapped to the model's input {entry.signal.name!r}",
                f"{stand.path}: channels.{name}.name",
                "map each input to one channel",
                "mapping",
            )


def _link(ours: Channel, signal: Signal, entry: ChannelMap | None, stand: StandFile, warnings: list[str]) -> Link:
    where = f"{stand.path}: channels.{ours.name}.unit"
    if entry and entry.lit_now:
        return Link(ours.name, signal, "1", to_model=_lit(ours, signal, stand), lit_now=True)
    if entry and entry.detents:
        return Link(ours.name, signal, "1", to_model=_detents(ours, signal, entry, stand))
    if ours.states:
        return Link(ours.name, signal, "1", to_model=_states(ours, signal, stand))
    symbol = entry.unit if entry and entry.unit else signal.unit
    if symbol != signal.unit:
        warnings.append(f"{ours.name}: the stand file says {symbol}, the model {signal.unit}; the stand file is used")
    check_dimension(ours, symbol, where)
    theirs, canonical = unit(symbol), unit(ours.unit)
    scale, offset = (entry.scale, entry.offset) if entry else (1.0, 0.0)
    if theirs == canonical:
        return Link(ours.name, signal, symbol, scale, offset)
    shift = 0.0 if ours.name in _DIFFERENCES else (theirs.offset - canonical.offset) / canonical.scale
    return Link(ours.name, signal, symbol, scale * theirs.scale / canonical.scale, scale * shift + offset)


def _states(ours: Channel, signal: Signal, stand: StandFile) -> tuple[int | None, ...]:
    """Indices of our states in the model; a signal without states follows our order."""
    if not signal.states or signal.states == ours.states:
        return ()
    where = f"{stand.path}: channels.{ours.name}"
    strange = [state for state in signal.states if state not in ours.states]
    if strange:
        raise InputError(
            f"the model's state {strange[0]!r} of {ours.name} is none of {', '.join(ours.states)}",
            where,
            nearest(strange[0], ours.states),
            "state",
        )
    return tuple(signal.states.index(state) if state in signal.states else None for state in ours.states)


def _detents(ours: Channel, signal: Signal, entry: ChannelMap, stand: StandFile) -> tuple[float | None, ...]:
    """The model's numbers of our states, for a lever that it takes as a number."""
    if signal.states:
        raise InputError(
            f"the model's {signal.name!r} for {ours.name} has named states, {', '.join(signal.states)}, and no detents",
            f"{stand.path}: channels.{ours.name}.detents",
            "remove detents: states are matched by their names",
            "state",
        )
    return tuple(entry.detents.get(state) for state in ours.states)


def _lit(ours: Channel, signal: Signal, stand: StandFile) -> tuple[int | None, ...]:
    """The model's index of dark, of nothing and of lit; empty for a signal without states."""
    if signal.states and sorted(signal.states) != ["off", "on"]:
        raise InputError(
            f"the model's states of {ours.name} are {', '.join(signal.states)}; lit_now is for off and on alone",
            f"{stand.path}: channels.{ours.name}.lit_now",
            "remove lit_now",
            "state",
        )
    return _states(ours, signal, stand)


def _affine(entries: Sequence[Link]) -> tuple[Array, Array, bool]:
    scale = np.array([entry.scale for entry in entries], dtype=np.float64)
    offset = np.array([entry.offset for entry in entries], dtype=np.float64)
    return scale, offset, all(entry.same for entry in entries)


class MappedSession:
    """``session`` in canonical channels: same methods, our names, units and state order.

    NaN passes untouched, and so does a number of a discrete output that is no index of a state.
    """

    def __init__(self, session: Session, links: Links) -> None:
        self._session, self._links = session, links
        self._inputs: tuple[Link, ...] = ()
        self._given = np.empty(0, np.intp)
        self._outputs: tuple[Link, ...] = ()
        self._to_theirs, self._to_ours = _affine(()), _affine(())
        self._lamps: list[Lamp] = []

    def hello(self) -> Hello:
        """The model's description in our names and units; unmapped signals are left out."""
        said = self._session.hello()
        ours = len(self._links.inputs)
        theirs = ours + sum(map(len, self._links.more.values()))
        able = replace(said.capabilities, max_values=max(1, said.capabilities.max_values * ours // max(1, theirs)))
        return replace(
            said,
            capabilities=able if theirs > ours else said.capabilities,
            inputs=tuple(_canonical(entry) for entry in self._links.inputs.values()),
            outputs=tuple(_canonical(entry) for entry in self._links.outputs.values()),
            warnings=(*said.warnings, *self._links.warnings),
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs), canonical units; raises :class:`InputError` for a channel
        the model does not have."""
        moved = [self._links.moved_by(name) for name in inputs]
        self._inputs = tuple(entry for entries in moved for entry in entries)
        self._given = np.repeat(np.arange(len(inputs)), [len(entries) for entries in moved])
        self._outputs = tuple(_of(self._links.outputs, name, "output") for name in outputs)
        self._to_theirs, self._to_ours = _affine(self._inputs), _affine(self._outputs)
        rows = self._to_model(np.array([start.row for start in starts], dtype=np.float64))
        theirs = tuple(Start(start.engine, tuple(row)) for start, row in zip(starts, rows.tolist(), strict=True))
        reply = self._session.initialise(
            theirs, step_ticks, [e.signal.name for e in self._inputs], [e.signal.name for e in self._outputs]
        )
        self._lamps = [Lamp(step_ticks) for _ in starts]
        first: Array = self._to_us(reply[None], range(len(starts)))[0]
        return first

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs), canonical units."""
        return self._to_us(self._session.advance(lanes, self._to_model(rows)), lanes)

    def clock_seen(self) -> ClockSeen | None:
        """What the clock of a free-running model showed in the run under way; None for any other."""
        seen = getattr(self._session, "clock_seen", None)
        found: ClockSeen | None = seen() if callable(seen) else None
        return found

    def reset(self) -> None:
        """Forget all lanes."""
        self._session.reset()

    def close(self) -> None:
        """End the model; never raises."""
        self._session.close()

    @property
    def farewell(self) -> str:
        """What was wrong with how the model ended when it was told to close, empty when nothing was."""
        return str(getattr(self._session, "farewell", ""))

    def _to_model(self, rows: Array) -> Array:
        scale, offset, same = self._to_theirs
        if rows.shape[-1] != (int(self._given[-1]) + 1 if self._given.size else 0):
            return rows
        if self._given.size > rows.shape[-1]:
            rows = rows[..., self._given]
        if same:
            return rows
        out: Array = (rows - offset) / scale
        for column, entry in enumerate(self._inputs):
            if entry.same or entry.to_model:
                out[..., column] = rows[..., column]
            if entry.to_model:
                for ours, theirs in enumerate(entry.to_model):
                    chosen = rows[..., column] == ours
                    if theirs is None and chosen.any():
                        state = CHANNELS[entry.channel].states[ours]
                        raise trouble(f"the model's {entry.channel} has no {state!r}", "refused")
                    out[..., column][chosen] = np.nan if theirs is None else theirs
        return out

    def _to_us(self, rows: Array, lanes: Sequence[int]) -> Array:
        scale, offset, same = self._to_ours
        if same or rows.shape[-1] != len(self._outputs):
            return rows
        out: Array = rows * scale + offset
        for column, entry in enumerate(self._outputs):
            if entry.same or entry.to_model:
                out[..., column] = rows[..., column]
            if entry.lit_now:
                lit = _lit_or_dark(rows[..., column], entry.to_model)
                for at, lane in enumerate(lanes):
                    out[:, at, column] = self._lamps[lane].see(lit[:, at].tolist())
                continue
            for ours, theirs in enumerate(entry.to_model):
                if theirs is not None:
                    out[..., column][rows[..., column] == theirs] = ours
        return out


def _lit_or_dark(values: Array, to_model: tuple[float | None, ...]) -> Array:
    """1 for lit and 0 for dark, by the index of the model's state, else by whether the number is nearer 1; what is no
    state is no number."""
    found: Array = np.where(np.isnan(values), np.nan, values >= 0.5)
    if to_model:
        dark, _, lit = to_model
        found = np.where(values == lit, 1.0, np.where(values == dark, 0.0, np.nan))
    return found


def _canonical(entry: Link) -> Signal:
    ours = CHANNELS[entry.channel]
    states = ours.states
    if entry.to_model and not entry.lit_now:
        states = tuple(s for s, index in zip(ours.states, entry.to_model, strict=True) if index is not None)
    return Signal(ours.name, ours.unit, states)


def _of(links: Mapping[str, Link], name: str, kind: str) -> Link:
    if name not in links:
        raise InputError(f"the model has no {kind} {name!r}", "", nearest(name, links), "channel")
    return links[name]
