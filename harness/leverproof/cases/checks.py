"""Cross references inside a case: every name a judgement uses must exist, every demand must mean something."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from leverproof.cases.demands import check_demand, check_sweep, check_swept_setting
from leverproof.cases.model import Judgement, Ref, ReferenceCase, Run
from leverproof.cases.tolerance_demands import check_seek_width
from leverproof.channels import CHANNELS
from leverproof.errors import InputError, nearest
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND

LONGEST = 240 * TICKS_PER_SECOND
LONGEST_WAIT = 1800 * TICKS_PER_SECOND
LONGEST_PAUSE = 2 * TICKS_PER_SECOND
LEAST_READING = 10 * CONTROL_TICKS
_ALWAYS = ("start", "end")
_TAKES_TIME = ("move", "hold", "seek", "read")


def check_case(case: ReferenceCase, where: str) -> None:
    """Raises :class:`InputError` for the first cross reference that leads nowhere."""
    _unique([r.name for r in case.runs], f"{where}: run", "run")
    _unique([j.id for j in case.judgements], f"{where}: judgement", "judgement")
    for name, value in case.surroundings.items():
        check_swept_setting(name, value, case, f"{where}: surroundings.{name}")
    _check_sweep_used(case, where)
    runs = {r.name: r for r in case.runs}
    for index, run in enumerate(case.runs):
        _check_run(case, run, f"{where}: run[{index}]")
    for index, judgement in enumerate(case.judgements):
        at = f"{where}: judgement[{index}]"
        _check_names(judgement, runs, at)
        check_demand(judgement, case, at)


def _unique(names: Iterable[str], where: str, kind: str) -> None:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            raise InputError(f"duplicate {kind} {name!r}", f"{where}[{index}]", "give each its own name", "duplicate")
        seen.add(name)


def _check_sweep_used(case: ReferenceCase, where: str) -> None:
    """A sweep that sets nothing makes every point the same."""
    values = list(case.surroundings.values())
    for run in case.runs:
        values += run.surroundings.values()
        for step in run.steps:
            values += [*step.levers.values(), *step.guard.values(), *([step.value] if step.value else [])]
    if case.sweep is not None and not any(value.sweep == case.sweep.name for value in values):
        raise InputError(
            f"nothing is set by the sweep variable {case.sweep.name!r}",
            f"{where}: sweep.{case.sweep.name}",
            "use it, for example pressure_altitude = { sweep = 'altitude' }",
            "sweep",
        )


def _check_run(case: ReferenceCase, run: Run, where: str) -> None:
    if run.steps[0].do != "set":
        raise InputError(
            "a run begins with a set of its levers",
            f"{where}.steps[0]",
            "no lever has a hidden default",
            "step",
        )
    _unique([s.name for s in run.steps if s.name], f"{where}.steps", "step name")
    _check_pauses(run, where)
    whole = sum(s.duration for s in run.steps if s.do != "pause")
    if whole > LONGEST:
        raise InputError(
            f"the holds and moves alone last {whole / TICKS_PER_SECOND:g} s, a run has at most 240 s",
            f"{where}.steps",
            "split the run",
            "duration",
        )
    _check_waits(run, where)
    for index, step in enumerate(run.steps):
        at = f"{where}.steps[{index}]"
        for name, value in step.levers.items():
            check_swept_setting(name, value, case, f"{at}.{name}")
        for name, value in step.guard.items():
            check_sweep(value, case, f"{at}.guard.{name}", CHANNELS[name].unit)
        if step.value is not None:
            check_sweep(step.value, case, f"{at}.value", CHANNELS[step.channel].unit)
            check_seek_width(step, at)
        if step.do == "read" and step.limit < LEAST_READING:
            raise InputError(
                "a reading needs a limit of at least 5 s",
                f"{at}.limit",
                "a reading takes 5 s of steady readings: give it a minute",
                "duration",
            )
        if step.name in _ALWAYS:
            raise InputError(
                f"{step.name!r} already names the run's own", f"{at}.name", "give the step another name", "duplicate"
            )
    for name, value in run.surroundings.items():
        check_swept_setting(name, value, case, f"{where}.surroundings.{name}")


def _check_waits(run: Run, where: str) -> None:
    """A model that never settles uses up every limit: what a run may take then is bounded too."""
    whole = 0
    for index, step in enumerate(run.steps):
        whole += step.limit
        if whole > LONGEST_WAIT:
            raise InputError(
                f"the seeks and readings so far may wait {whole / TICKS_PER_SECOND:,.0f} s, those of a run at most "
                f"{LONGEST_WAIT / TICKS_PER_SECOND:,.0f} s together",
                f"{where}.steps[{index}].limit",
                "a minute or two is enough for an engine that settles at all: lower the limit, or split the run",
                "duration",
            )


def _check_pauses(run: Run, where: str) -> None:
    """Whoever waits for a run does so in wall time; a pause before anything was flown interrupts nothing."""
    places = [index for index, step in enumerate(run.steps) if step.do == "pause"]
    if not places:
        return
    if sum(run.steps[index].duration for index in places) > LONGEST_PAUSE:
        raise InputError(
            f"the pauses of a run last at most {LONGEST_PAUSE / TICKS_PER_SECOND:g} s together",
            f"{where}.steps[{places[-1]}].for",
            "half a second is enough for a model that runs on by itself to show it",
            "duration",
        )
    flown = [index for index, step in enumerate(run.steps) if step.do in _TAKES_TIME]
    for index in places:
        if not (any(at < index for at in flown) and any(at > index for at in flown)):
            raise InputError(
                "a pause stands in the middle of a run",
                f"{where}.steps[{index}]",
                "let a move, hold, seek or read come before it and after it",
                "step",
            )


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
                nearest(ref.reading, readings) or "give one of its read steps that name",
                "reading",
            )
    for run_name, key, name, kinds in _places(judgement):
        steps = [s.name for s in runs[run_name].steps if s.name and (not kinds or s.do in kinds)]
        if name not in steps and not (not kinds and name in _ALWAYS):
            is_there = kinds and any(s.name == name for s in runs[run_name].steps)
            words = f"{name!r} is no {' or '.join(kinds)}" if is_there else f"run {run_name!r} has no {name!r}"
            raise InputError(words, f"{where}.{key}", nearest(name, steps) or "give one of its steps that name", "name")


def _named_runs(judgement: Judgement) -> Iterator[tuple[str, str]]:
    if judgement.run:
        yield "run", judgement.run
    for name in judgement.runs:
        yield "runs", name
    if judgement.longer_than:
        yield "longer_than", judgement.longer_than
    if judgement.against:
        yield "against", judgement.against


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
    for run in filter(None, (judgement.run, judgement.against) if judgement.since else ()):
        yield run, "since", judgement.since, ("move", "set") if judgement.what == "history" else ()
    if judgement.seek:
        yield judgement.run, "seek", judgement.seek, ("seek",)
    for name in judgement.between or ():
        yield judgement.run, "between", name, ("read",)
        for run in filter(None, (judgement.longer_than, judgement.against)):
            yield run, "between", name, ("read",)
    for event in judgement.events:
        for name in event.between or ():
            yield judgement.run, "events.between", name, ("read",)
