"""A plan held against a recording: which of its points were flown, and what is expected where they were flown."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from leverproof.cases.model import Judgement
from leverproof.channels import SURROUNDINGS
from leverproof.conduct.matcher import Progress, match, was_flown
from leverproof.conduct.model import ConductedRun, Expected, PlannedCase, Point, Program
from leverproof.conduct.plan import Ground
from leverproof.conduct.resolve import Scope, resolved_judgement, values_of_judgement
from leverproof.conduct.scheduler import conduct
from leverproof.quantities import Quantity
from leverproof.stand.mount import MountedStand
from leverproof.stand.recording_mount import MountedRecording

Key = tuple[str, int, str]


@dataclass(frozen=True)
class Flown:
    """What was found in a recording, by program key."""

    runs: Mapping[Key, ConductedRun]


def fit(
    planned: list[PlannedCase],
    mounted: MountedStand | MountedRecording,
    ground: Ground,
    warn: Callable[[str], None],
    progress: Callable[[float, float, str], None] | None,
) -> tuple[list[PlannedCase], MountedStand | Flown]:
    """The plan as it is and the model that will fly it; or, for a recording, the plan with the points that were flown,
    and their runs.

    Of a swept case only flown points are kept where there are any, and drawn off-points never count against a
    recording, because nobody can have known of them; each point left out is told. What follows from the standard
    atmosphere is expected for the surroundings as flown."""
    if isinstance(mounted, MountedStand):
        return planned, mounted

    def told(done: float, total: float) -> None:
        if progress is not None:
            progress(done, total, "looking for what was flown")

    programs = [program for case in planned for program in case.programs]
    found = {run.program.key: run for run in match(programs, mounted.recording, progress=told)}
    seen = mounted.recording.resolution
    divisions = {name: seen[name] for name in SURROUNDINGS if name in seen}
    fitted = [as_flown(flown_points(case, found, warn), found, ground, divisions) for case in planned]
    return fitted, Flown(found)


def fly(
    programs: Sequence[Program],
    source: MountedStand | Flown,
    *,
    on_finished: Callable[[ConductedRun], None],
    on_warning: Callable[[str], None],
    progress: Progress,
) -> None:
    """Conducts the programs on a model, or takes each from what was found in a recording; ``on_finished`` is told each
    run. Otherwise as :func:`leverproof.conduct.scheduler.conduct`."""
    if isinstance(source, MountedStand):
        conduct(programs, source, on_finished=on_finished, on_warning=on_warning, progress=progress)
        return
    for program in programs:
        on_finished(source.runs[program.key])


def flown_points(case: PlannedCase, runs: Mapping[Key, ConductedRun], warn: Callable[[str], None]) -> PlannedCase:
    """The plan with the points that were flown whole, else those flown in part, else the stated ones; ``warn`` is told
    of those left out."""
    flown: dict[int, list[bool]] = {}
    for program in case.programs:
        flown.setdefault(program.key[1], []).append(was_flown(runs[program.key]))
    kept = [p for p in case.points if all(flown.get(p.index, [False]))]
    kept = kept or [p for p in case.points if any(flown.get(p.index, [False]))]
    kept = kept or [p for p in case.points if not p.off_point]
    left = [p for p in case.points if p not in kept]
    if not left:
        return case
    if any(any(flown.get(p.index, [])) for p in kept):
        warn(f"{case.case.id}: not flown at {'; '.join(p.label for p in left)}")
    indices = {p.index for p in kept}
    return replace(case, points=tuple(kept), programs=tuple(p for p in case.programs if p.key[1] in indices))


def as_flown(
    case: PlannedCase, runs: Mapping[Key, ConductedRun], ground: Ground, divisions: Mapping[str, float]
) -> PlannedCase:
    """The plan with what follows from the standard atmosphere expected for the surroundings as flown; ``divisions`` of
    altimeter and thermometer are its doubt."""
    standard = [j for j in case.judgements if any(v.standard for v in values_of_judgement(j))]
    if not standard:
        return case
    points = tuple(
        replace(point, resolved={**point.resolved, **_resolved(case, point, standard, runs, ground, divisions)})
        for point in case.points
    )
    return replace(case, points=points)


def _resolved(
    case: PlannedCase,
    point: Point,
    judgements: Sequence[Judgement],
    runs: Mapping[Key, ConductedRun],
    ground: Ground,
    divisions: Mapping[str, float],
) -> dict[str, dict[str, Expected]]:
    found = {}
    sweep = case.case.sweep
    swept = {sweep.name: Quantity(point.variable, sweep.points[0].unit)} if sweep is not None else {}
    for judgement in judgements:
        surroundings = _surroundings(judgement, case.case.id, point, runs)
        if surroundings:
            held = {**point.surroundings, **surroundings}
            expected = resolved_judgement(judgement, Scope(ground.sheet, swept, held))
            for name, division in divisions.items():
                beside = Scope(ground.sheet, swept, {**held, name: held.get(name, 0.0) + division / 2.0})
                expected = _doubted(expected, resolved_judgement(judgement, beside))
            found[judgement.id] = {**point.resolved[judgement.id], **expected}
    return found


def _doubted(expected: dict[str, Expected], beside: Mapping[str, Expected]) -> dict[str, Expected]:
    """Expected values with the doubt that half a division of an altimeter or thermometer brings: a rectangular
    distribution, twice its standard deviation (JCGM 100:2008, 4.3.7 and F.2.2.1)."""
    out = {}
    for key, value in expected.items():
        half = abs(beside[key].value - value.value)
        doubt = None if value.doubt is None else math.hypot(value.doubt, 2.0 * half / math.sqrt(3.0))
        out[key] = replace(value, doubt=doubt)
    return out


def _surroundings(
    judgement: Judgement, case_id: str, point: Point, runs: Mapping[Key, ConductedRun]
) -> dict[str, float]:
    """Surroundings of the reading judged, or of the first reading of the run judged; none when it was not flown."""
    ref = judgement.reading or judgement.more or next(iter(judgement.readings), None)
    run = runs.get((case_id, point.index, ref.run if ref is not None else judgement.run))
    if run is None or not run.history.readings:
        return {}
    reading = run.history.reading(ref.reading) if ref is not None else run.history.readings[0]
    values = reading.values if reading is not None else {}
    return {name: values[name] for name in SURROUNDINGS if name in values}
