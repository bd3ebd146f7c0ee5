"""Flying a block: mounts the model, plans its items, moves the levers, judges each item by itself.

The same for a process of this machine and for a worker far away: a :class:`Flyer` and a block go there, lines come
back. What an item gives does not depend on its block: its facts are those of the step study of its model and sheet,
flown once beforehand with the model's own coefficients, and of its own runs.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from leverproof.campaign.facts import Facts, facts_of_item, facts_of_study, plain_facts, read_facts
from leverproof.campaign.model import NOMINAL, Block, Item, Plan
from leverproof.campaign.planning import Planner
from leverproof.campaign.rows import Rows
from leverproof.campaign.sampling import drawn
from leverproof.campaign.store import encoded, encoded_note, encoded_study
from leverproof.conduct.by_its_clock import by_its_clock
from leverproof.conduct.model import ConductedRun, PlannedCase, Program
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.scheduler import conduct
from leverproof.engine_stage import ground_of
from leverproof.errors import InputError, LeverproofError
from leverproof.judge.case import judge_case
from leverproof.stand.coefficients import with_coefficients
from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import Array, Session

Lines = tuple[bytes, ...]
"""What a block gives: the lines that the store keeps."""
_FEWEST = 16
NOT_MOUNTED = "not mounted: "
Beat = Callable[[], None]
Keep = Callable[[str, bytes], None]
"""Takes a line as soon as it is there, with the id of its item; "" for a line of none."""
Own = dict[tuple[int, str], ConductedRun]


def _silent() -> None:
    """Nobody watches."""


def _untaken(item: str, line: bytes) -> None:
    """Nobody takes lines before the end."""


@dataclass
class Flyer:
    """Flies the blocks of a plan; call it with a block. It keeps the model it has mounted for the next block, and goes
    to other processes without it. ``facts`` are those of the step studies by model and sheet."""

    plan: Plan
    _mounted: _Mount | None = field(default=None, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def __call__(self, block: Block, beat: Beat = _silent, keep: Keep = _untaken) -> Lines:
        """The lines of a block, each of which goes to ``keep`` as soon as it is there. ``beat`` is called whenever
        something has come of it: the silence of a model that hangs is what its watcher hears. Never raises for anything
        a model did."""
        lines: list[bytes] = []

        def kept(item: str, line: bytes) -> None:
            lines.append(line)
            keep(item, line)

        with self._lock:
            if not block.items:
                kept("", self._studied(block, beat))
            for sample, items in _by_sample(block.items).items():
                self._fly(block, sample, items, beat, kept)
        return tuple(lines)

    def close(self) -> None:
        """Ends the model; another is mounted when the next block comes."""
        if self._mounted is not None:
            self._mounted.stand.close()
            self._mounted = None

    def __getstate__(self) -> dict[str, Any]:
        return {"plan": self.plan}

    def __setstate__(self, state: Mapping[str, Any]) -> None:
        self.plan = state["plan"]
        self._mounted = None
        self._lock = threading.Lock()

    def _studied(self, block: Block, beat: Beat) -> bytes:
        try:
            mounted = self._mount(block.model, block.sheet, NOMINAL, beat)
            return encoded_study(block.id, _study(self.plan, mounted, beat))
        except LeverproofError as trouble:
            self.close()
            return encoded_study(block.id, plain_facts(None, f"{NOT_MOUNTED}{trouble}"))

    def _fly(self, block: Block, sample: int, items: Sequence[Item], beat: Beat, keep: Keep) -> None:
        """The items of one sample. Where it cannot be mounted, or not again, that costs those of them that are not
        finished, and no other sample."""
        left = {item.id: item for item in items}

        def kept(item: str, line: bytes) -> None:
            left.pop(item, None)
            keep(item, line)

        try:
            mounted = self._mount(block.model, block.sheet, sample, beat)
            _Flight(self.plan, block, mounted, read_facts(block.facts), beat, kept).fly(items)
        except LeverproofError as trouble:
            self.close()
            for item in list(left.values()):
                keep(item.id, lost_item(self.plan, block, item, f"{NOT_MOUNTED}{trouble}"))

    def _mount(self, model: int, sheet: str, sample: int, beat: Beat) -> _Mount:
        """The model with the coefficients of a sample: the one that is mounted already, where it is the same."""
        kept = self._mounted
        if kept is not None and (kept.model, kept.sample) == (model, sample):
            if not kept.stand.capabilities.reset:
                # It cannot forget what it has flown.
                kept.stand.reopen()
            if kept.sheet != sheet:
                kept = self._mounted = _ready(self.plan, kept.stand, model, sheet, sample, kept.coefficients)
            kept.beat = beat
            return kept
        self.close()
        own = self.plan.models[model]
        coefficients = drawn(own.coefficients, self.plan.seed, sample)
        stand = mount(with_coefficients(own.stand, coefficients), defect=own.defect)
        beat()
        self._mounted = _ready(self.plan, stand, model, sheet, sample, coefficients)
        self._mounted.beat = beat
        return self._mounted


@dataclass
class _Mount:
    """A mounted model, ready to fly items of one sheet; what a scheduler needs of it, with a beat for each request."""

    stand: MountedStand
    model: int
    sheet: str
    sample: int
    coefficients: dict[str, float]
    ground: Ground
    planner: Planner
    said: dict[str, Any]
    beat: Beat = _silent

    @property
    def session(self) -> Session:
        """The model's session, watched."""
        return _Watched(self.stand.session, self)

    def reopen(self) -> Session:
        """A fresh session after the last has failed."""
        self.stand.reopen()
        return self.session


class _Watched:
    """A session that tells of every reply."""

    def __init__(self, session: Session, mount: _Mount) -> None:
        self.hello, self.reset, self.close = session.hello, session.reset, session.close
        self._session, self._mount = session, mount

    def initialise(self, *asked: Any) -> Array:
        reply = self._session.initialise(*asked)
        self._mount.beat()
        return reply

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        reply = self._session.advance(lanes, rows)
        self._mount.beat()
        return reply


def _ready(
    plan: Plan, stand: MountedStand, model: int, sheet: str, sample: int, coefficients: dict[str, float]
) -> _Mount:
    ground = ground_of(plan.sheets[sheet], stand, plan.seed)
    return _Mount(stand, model, sheet, sample, coefficients, ground, Planner(plan.cases, ground), stand.facts())


def lost(plan: Plan, block: Block, words: str) -> Lines:
    """The lines of a block that could not be flown: every judgement of every item an error, with the reason. Of a step
    study a note tells it, for it is no item."""
    if not block.items:
        title = plan.models[block.model].title
        told = f"{title}: its step study was lost ({words}), so that none of its numbers passes without condition"
        return (encoded_study(block.id, plain_facts(None, words)), encoded_note(told))
    return tuple(lost_item(plan, block, item, words) for item in block.items)


def lost_item(plan: Plan, block: Block, item: Item, words: str) -> bytes:
    """The line of one item that could not be flown."""
    model = plan.models[block.model]
    rows = Rows(model.title, block.id, drawn(model.coefficients, plan.seed, item.sample))
    return encoded(rows.without(item, plan.cases[item.case], "error", words))


def _by_sample(items: Sequence[Item]) -> dict[int, list[Item]]:
    found: dict[int, list[Item]] = {}
    for item in items:
        found.setdefault(item.sample, []).append(item)
    return found


def _study(plan: Plan, mounted: _Mount, beat: Beat) -> dict[str, Any]:
    """What the step study of a model and sheet shows."""
    lanes = mounted.stand.capabilities.lanes
    if plan.study is None:
        return plain_facts(None, "there is no step study", lanes)
    planned = plan_case(plan.study, mounted.ground)
    if not planned.programs:
        missing = planned.inapplicable.missing if planned.inapplicable is not None else ""
        return plain_facts(None, f"no step study: {missing}", lanes)
    runs = conduct(planned.programs, mounted)
    arrangement = mounted.ground.sheet.word("hardware.arrangement")
    return plain_facts(facts_of_study({run.program.key: run for run in runs}, arrangement), "", lanes)


class _Flight:
    """The items of a block that share a sample, flown together and judged one by one as their runs end."""

    def __init__(self, plan: Plan, block: Block, mounted: _Mount, facts: Facts, beat: Beat, keep: Keep) -> None:
        self._plan, self._mounted, self._facts, self._beat, self._take = plan, mounted, facts, beat, keep
        self._rows = Rows(plan.models[block.model].title, block.id, mounted.coefficients)
        self._open: dict[int, _Open] = {}

    def fly(self, items: Sequence[Item]) -> None:
        """Flies the items; their lines are taken as each is judged."""
        # The scheduler holds the histories of all that it is given at once: no more than fill the lanes some times.
        size = max(_FEWEST, 2 * self._mounted.stand.capabilities.lanes)
        for begin in range(0, len(items), size):
            programs = [program for item in items[begin : begin + size] for program in self._planned(item)]
            conduct(programs, self._mounted, on_finished=self._finished, on_warning=self._noted)

    def _planned(self, item: Item) -> tuple[Program, ...]:
        """The item's programs; an item without any is judged at once."""
        self._beat()
        try:
            planned = self._mounted.planner.plan(item)
        except InputError as problem:
            self._keep(self._rows.without(item, self._plan.cases[item.case], "error", f"cannot be planned: {problem}"))
            return ()
        one = _Open(item, planned, len(planned.programs))
        if not planned.programs:
            self._judge(one)
            return ()
        # A plan may be shared by items that differ in nothing it holds; the scheduler tells programs apart by identity.
        programs = tuple(replace(program) for program in planned.programs)
        self._open |= {id(program): one for program in programs}
        one.programs = programs
        return programs

    def _finished(self, run: ConductedRun) -> None:
        one = self._open.pop(id(run.program))
        clocked = by_its_clock(run, self._mounted.stand, _untold)
        one.runs[run.program.key[1], run.program.key[2]] = clocked
        one.left -= 1
        if not one.left:
            self._judge(one)

    def _judge(self, one: _Open) -> None:
        facts = facts_of_item(self._facts, one.planned, one.runs, self._mounted.said, self._arrangement())
        findings = judge_case(one.planned, one.runs, facts)
        self._keep(self._rows.of(one.item, one.planned, one.runs, findings, self._plan.cases[one.item.case]))

    def _arrangement(self) -> str:
        return self._mounted.ground.sheet.word("hardware.arrangement")

    def _keep(self, rows: Sequence[Any]) -> None:
        self._take(rows[0].item, encoded(rows))
        self._beat()

    def _noted(self, words: str) -> None:
        self._take("", encoded_note(words))


@dataclass
class _Open:
    """An item under way."""

    item: Item
    planned: PlannedCase
    left: int
    runs: Own = field(default_factory=dict)
    programs: tuple[Program, ...] = ()


def _untold(kind: str, **data: object) -> None:
    """What a clock showed is in the histories already."""
