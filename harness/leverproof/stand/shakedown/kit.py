"""The shakedown itself: item after item, each with a fresh model, whatever the one before did."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from leverproof.errors import LeverproofError, StandError, UsageError, nearest
from leverproof.stand.guard import SEE_TRACEBACK
from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import OpenStand, StandFile
from leverproof.stand.shakedown.bench import OWN_PROCESS_GRACE, Bench
from leverproof.stand.shakedown.catalogue import BY_NAME, items_for
from leverproof.stand.shakedown.model import Item, ItemResult, Outcome, Shakedown, failed, not_applicable
from leverproof.stand.shakedown.watch import Watch
from leverproof.stand.stand_file import read_stand_file

Progress = Callable[[float, float, str], None]


def shakedown(
    stand: StandFile | Path | str,
    *,
    items: Sequence[str] = (),
    seed: int = 1,
    progress: Progress | None = None,
    clock: Callable[[], float] = time.perf_counter,
    sleep: Callable[[float], None] = time.sleep,
    adapters: Mapping[str, OpenStand] | None = None,
) -> Shakedown:
    """Shakes down the model of ``stand``, a stand file or its path; runs the model's code.

    ``items`` are the names of those wanted, all when empty; the handshake is always tried. ``clock`` gives seconds
    for the items that time the model, ``sleep`` waits on it. Raises :class:`InputError` for a stand file that does not
    fit the model and :class:`UsageError` for an unknown item; whatever the model does is a result, never an exception.
    """
    known = _known(items)
    given = stand if isinstance(stand, StandFile) else read_stand_file(str(stand))
    wanted = [item for item in items_for(given.clock) if not known or item.name in known or not item.needs]
    said = progress or (lambda done, total, what: None)
    said(0, len(wanted), wanted[0].name)
    try:
        mounted = _watch(given).run(lambda: mount(given, defect=None, adapters=adapters))
    except StandError as error:
        return Shakedown(given.title, seed, False, {}, _never_came_up(wanted, error))
    results: list[ItemResult] = []
    facts = mounted.facts()
    try:
        for item in wanted:
            said(len(results), len(wanted), item.name)
            results.append(_tried(item, mounted, results, seed=seed, time=(clock, sleep)))
    finally:
        mounted.close()
    said(len(wanted), len(wanted), "done")
    return Shakedown(given.title, seed, True, facts, tuple(results))


_Time = tuple[Callable[[], float], Callable[[float], None]]


def _known(names: Sequence[str]) -> frozenset[str]:
    for name in names:
        if name not in BY_NAME:
            raise UsageError(f"no item {name!r}", "--item", nearest(name, BY_NAME), "item")
    return frozenset(names)


def _watch(stand: StandFile) -> Watch:
    return Watch(0.2 if stand.kind in ("in_process", "reference_engine") else OWN_PROCESS_GRACE)


def _never_came_up(wanted: Sequence[Item], error: StandError) -> tuple[ItemResult, ...]:
    first, *rest = wanted
    outcome = failed(_told(error), _mend(error) or "start the program by hand and see what it says to hello")
    blocked = Outcome("blocked", f"{first.name} failed")
    return (
        ItemResult(first.name, first.question, outcome),
        *(ItemResult(item.name, item.question, blocked, first.name) for item in rest),
    )


def _told(error: LeverproofError) -> str:
    evidence = getattr(error, "evidence", "").strip().splitlines()
    if error.hint == SEE_TRACEBACK:  # its last line is in the message already
        evidence = [line for line in evidence if line.startswith('  File "')]
    return f"{error.message} ({evidence[-1].strip()[:200]})" if evidence else error.message


def _mend(error: LeverproofError) -> str:
    """What the error advises, unless that is to read a traceback that this table does not show."""
    return _MENDS["raised"] if error.hint == SEE_TRACEBACK else error.hint


def _tried(
    item: Item,
    mounted: MountedStand,
    before: Sequence[ItemResult],
    *,
    seed: int,
    time: _Time,
) -> ItemResult:
    ended = {result.name: result.ending for result in before}
    lower = next((name for name in item.needs if ended.get(name) in ("fail", "blocked")), "")
    if lower:
        return ItemResult(item.name, item.question, Outcome("blocked", f"{lower} {_PAST[ended[lower]]}"), lower)
    can = mounted.capabilities
    if item.clock == "stepped" and can.clock != "stepped":
        return ItemResult(item.name, item.question, not_applicable("the model runs on its own clock"))
    if item.deterministic and not can.deterministic:
        return ItemResult(item.name, item.question, not_applicable("the model declares that it is not deterministic"))
    return ItemResult(item.name, item.question, _outcome(item, mounted, seed, time))


_PAST = {"fail": "failed", "blocked": "is blocked"}


def _outcome(item: Item, mounted: MountedStand, seed: int, time: _Time) -> Outcome:
    """How the item ends with a freshly opened model; whatever goes wrong in the model ends this item only."""
    watch = _watch(mounted.stand)

    def work() -> Outcome:
        bench = Bench(mounted, item.name, seed=seed, clock=time[0], sleep=time[1], watch=watch)
        bench.reopen()
        return item.check(bench)

    try:
        return watch.run(work)
    except LeverproofError as error:
        return failed(_told(error), _mend(error) or _MENDS.get(error.code, "see what the model says of it"))


_MENDS = {
    "hang": "find what the model waits for; a step that needs longer needs a longer deadline in the stand file",
    "crash": "run the same request by hand under a debugger; a model answers what it cannot do with an error",
    "raised": "mend what raised; for what the model cannot do let it raise StandError with the code 'refused'",
    "protocol": "see the reference page of the protocol for the shape of every reply",
    "refused": "answer this request: the harness sends it in every session",
}
