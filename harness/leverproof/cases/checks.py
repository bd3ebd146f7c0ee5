"""Cross references inside a case: every name a judgement uses must exist, every demand must mean something."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from leverproof.cases.model import Judgement, Ref, ReferenceCase, Run, Value
from leverproof.errors import InputError, nearest
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND

LONGEST = 240 * TICKS_PER_SECOND
_ALWAYS = ("start", "end")


def check_case(case: ReferenceCase, where: str) -> None:
    """Raises :class:`InputError` for the first cross reference that leads nowhere."""
    _unique([r.name for r in case.runs], f"{where}: run", "run")
    _unique([j.id for j in case.judgements], f"{where}: judgement", "judgement")
    runs = {r.name: r for r in case.runs}
    for index, run in enumerate(case.runs):
        _check_run(case, run, f"{where}: run[{index}]")
    for index, judgement in enumerate(case.judgements):
        at = f"{where}: judgement[{index}]"
        _check_names(judgement, runs, at)
        _check_demand(judgement, case, at)


def _unique(names: Iterable[str], where: str, kind: str) -> None:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            raise InputError(
                f"duplicate {kind} {name!r}", f"{where}[{index}]", "give each its own name", "duplicate"
            )
        seen.add(name)


def _check_run(case: ReferenceCase, run: Run, where: str) -> None:
    if run.steps[0].do != "set":
        raise InputError(
            "a run begins with a set of its levers",
            f"{where}.steps[0]",
            "no lever has a hidden default",
            "step",
        )
    _unique([s.name for s in run.steps if s.name], f"{where}.steps", "step name")
    whole = sum(s.duration for s in run.steps)
    if whole > LONGEST:
        raise InputError(
            f"the holds and moves alone last {whole / TICKS_PER_SECOND:g} s, a run has at most 240 s",
            f"{where}.steps",
            "split the run",
            "duration",
        )
    sweeps = {case.sweep.name} if case.sweep else set()
    for index, step in enumerate(run.steps):
        for value in (*step.levers.values(), *step.guard.values(), *([step.value] if step.value else [])):
            _check_sweep(value, sweeps, f"{where}.steps[{index}]")
        if step.do == "read" and step.limit < 10 * CONTROL_TICKS:
            raise InputError(
                "a reading needs a limit of at least 5 s", f"{where}.steps[{index}].limit", code="duration"
            )
    for name, value in {**case.surroundings, **run.surroundings}.items():
        _check_sweep(value, sweeps, f"{where}.surroundings.{name}")


def _check_sweep(value: Value, sweeps: set[str], where: str) -> None:
    if value.sweep and value.sweep not in sweeps:
        raise InputError(f"no sweep variable {value.sweep!r}", where, nearest(value.sweep, sweeps), "sweep")


def _check_names(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    for key, name in _named_runs(judgement):
        if name not in runs:
            raise InputError(f"no run {name!r}", f"{where}.{key}", nearest(name, runs), "run")
    for key, ref in _refs(judgement):
        if ref.run not in runs:
            raise InputError(f"no run {ref.run!r}", f"{where}.{key}", nearest(ref.run, runs), "run")
        readings = [s.name for s in runs[ref.run].steps if s.do == "read"]
        if ref.reading not in readings:
            raise InputError(
                f"run {ref.run!r} has no reading {ref.reading!r}",
                f"{where}.{key}",
                nearest(ref.reading, readings),
                "reading",
            )
    for run_name, key, name, kinds in _places(judgement):
        steps = [s.name for s in runs[run_name].steps if s.name and (not kinds or s.do in kinds)]
        if name not in steps and not (not kinds and name in _ALWAYS):
            raise InputError(
                f"run {run_name!r} has no {name!r}", f"{where}.{key}", nearest(name, steps), "name"
            )


def _named_runs(judgement: Judgement) -> Iterator[tuple[str, str]]:
    if judgement.run:
        yield "run", judgement.run
    for name in judgement.runs:
        yield "runs", name
    if judgement.longer_than:
        yield "longer_than", judgement.longer_than


def _refs(judgement: Judgement) -> Iterator[tuple[str, Ref]]:
    for key in ("reading", "relative_to", "more"):
        ref = getattr(judgement, key)
        if ref is not None:
            yield key, ref
    for ref in judgement.less:
        yield "less", ref
    for ref in judgement.readings:
        yield "readings", ref
    if judgement.exercised:
        yield "exercised.more", judgement.exercised.more
        yield "exercised.less", judgement.exercised.less
    if judgement.at_equal:
        for ref in (judgement.more, *judgement.less):
            if ref is not None:
                yield "at_equal.slope", Ref(ref.run, judgement.at_equal.slope)


def _places(judgement: Judgement) -> Iterator[tuple[str, str, str, tuple[str, ...]]]:
    for name in judgement.window or ():
        yield judgement.run, "window", name, ()
    if judgement.change_from:
        yield judgement.run, "change_from", judgement.change_from, ("read",)
    if judgement.at_reading:
        yield judgement.run, "at", judgement.at_reading, ("read",)
    if judgement.since:
        yield judgement.run, "since", judgement.since, ()
    if judgement.seek:
        yield judgement.run, "seek", judgement.seek, ("seek",)
    for name in judgement.between or ():
        yield judgement.run, "between", name, ("read",)
        if judgement.longer_than:
            yield judgement.longer_than, "between", name, ("read",)
    for event in judgement.events:
        for name in event.between or ():
            yield judgement.run, "events.between", name, ("read",)


def _check_demand(judgement: Judgement, case: ReferenceCase, where: str) -> None:
    """Each kind of judgement must demand something, and only what it can show."""
    what = judgement.what
    swept = case.sweep.name if case.sweep else ""
    if judgement.over and judgement.over != swept:
        raise InputError(
            f"no sweep variable {judgement.over!r}", f"{where}.over", nearest(judgement.over, [swept])
        )
    sweeps = {swept} if swept else set()
    for key in ("expected", "at_most", "at_least", "at", "least_step"):
        value = getattr(judgement, key)
        if value is not None:
            _check_sweep(value, sweeps, f"{where}.{key}")
    both = judgement.at_most is not None and judgement.at_least is not None
    neither = judgement.at_most is None and judgement.at_least is None
    if what == "limit" and (both or neither):
        raise InputError("a limit has at_most or at_least", where, "give one of them", "demand")
    if what == "difference" and neither and (judgement.expected is None or judgement.tolerance is None):
        raise InputError("a difference needs at_least, or expected with a tolerance", where, code="demand")
    if what == "trend":
        _check_trend(judgement, case, where)
    if what == "order" and not any(True for e in judgement.events if e.name):
        raise InputError("events need names", where, code="demand")
    if what == "state" and sum(map(bool, (judgement.at_reading, judgement.table, judgement.seen))) != 1:
        raise InputError("a state judgement has one of at, table, seen", where, code="demand")
    if what == "response" and judgement.measure != "monotone":
        if neither and not judgement.longer_than:
            raise InputError("a response time needs at_most, at_least or longer_than", where, code="demand")
        if not neither and judgement.tolerance is None:
            raise InputError(
                "a limit on a time needs a tolerance", where, "there is no default tolerance", "demand"
            )
        if judgement.longer_than and judgement.least_gap is None:
            raise InputError("longer_than needs least_gap", where, code="demand")


def _check_trend(judgement: Judgement, case: ReferenceCase, where: str) -> None:
    by_sweep = judgement.reading is not None and bool(judgement.over)
    if by_sweep == bool(judgement.readings):
        raise InputError("a trend is over a sweep (reading, over) or over readings", where, code="demand")
    if by_sweep and case.sweep is not None and len(case.sweep.points) < 3:
        raise InputError("a trend needs at least three points", where, "add points to the sweep", "demand")
    if judgement.direction == "constant":
        if judgement.tolerance is None:
            raise InputError("a constant trend needs a tolerance", where, code="demand")
    elif judgement.least_step is None:
        raise InputError("a trend declares its least step", f"{where}.least_step", code="demand")
