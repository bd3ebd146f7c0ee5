"""Whether a judgement demands something, and only what its runs can show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from leverproof.cases.history_demands import check_history, history_unit
from leverproof.cases.model import Judgement, ReferenceCase, Run, Step, Value
from leverproof.cases.tolerance_demands import check_bounds, check_tolerance
from leverproof.cases.trend_demands import LEAST_POINTS, check_trend
from leverproof.cases.values import check_setting, setting_number
from leverproof.channels import CHANNELS, OTHER_LEVERS
from leverproof.errors import InputError, nearest
from leverproof.quantities import convert

_FLOWN = ("hold", "move", "read")
_SKY = ("pressure_altitude", "temperature_offset")
_AIR = (*_SKY, "relative_humidity", "true_airspeed")


def check_demand(judgement: Judgement, case: ReferenceCase, where: str) -> None:
    """Raises :class:`InputError` for a judgement that could not fail, or that could never be made."""
    swept = case.sweep.name if case.sweep else ""
    if judgement.over and judgement.over != swept:
        raise InputError(
            f"no sweep variable {judgement.over!r}",
            f"{where}.over",
            nearest(judgement.over, [swept]) if swept else "the case has no sweep",
            "sweep",
        )
    for key, value, symbol in _values(judgement):
        check_sweep(value, case, f"{where}.{key}", symbol)
    _check_distinct(judgement, where)
    check_tolerance(judgement, where)
    check_bounds(judgement, where)
    runs = {run.name: run for run in case.runs}
    _check_standard(judgement, runs, where)
    _check_predicted(judgement, runs, where)
    _check_order_of_names(judgement, runs, where)
    match judgement.what:
        case "value":
            _check_quotient(judgement, where)
        case "limit" | "difference":
            _check_bound(judgement, where)
        case "level_speed":
            _check_level_speed(judgement, where)
        case "trend":
            check_trend(judgement, case, where)
        case "crossing" | "exponent":
            _check_swept_reading(judgement, case, where)
        case "state":
            _check_state(judgement, where)
        case "response":
            _check_response(judgement, where)
        case "history":
            check_history(judgement, runs, where)
        case "same" | "grid_step":
            _check_pair(judgement, runs, where)
        case "unmoved":
            _check_unmoved(judgement, runs, where)
        case _:
            pass


def check_sweep(value: Value, case: ReferenceCase, where: str, symbol: str) -> None:
    """Refuses a sweep variable that is not there, or whose unit is not one of ``symbol``'s dimension."""
    if not value.sweep:
        return
    if case.sweep is None or value.sweep != case.sweep.name:
        known = [case.sweep.name] if case.sweep else []
        hint = nearest(value.sweep, known) if known else "the case has no sweep"
        raise InputError(f"no sweep variable {value.sweep!r}", where, hint, "sweep")
    convert(case.sweep.points[0].value, case.sweep.points[0].unit, symbol, where)


def check_swept_setting(name: str, value: Value, case: ReferenceCase, where: str) -> None:
    """A lever or surrounding set by the sweep: right unit, and no point where it cannot be."""
    check_sweep(value, case, where, CHANNELS[name].unit)
    if value.sweep and case.sweep is not None:
        for point in (*case.sweep.points, case.sweep.low, case.sweep.high):
            if point is not None:
                check_setting(name, setting_number(name, point, where), where)


def _values(judgement: Judgement) -> Iterator[tuple[str, Value, str]]:
    """Every value of a judgement with its key and the unit it is compared in."""
    own = CHANNELS[judgement.channel].unit if judgement.channel else "1"
    if judgement.what == "response":
        own = "s"
    elif judgement.what == "history":
        own = history_unit(judgement)
    elif judgement.what == "level_speed":
        own = "kt"
    elif judgement.relative_to is not None or judgement.by:
        own = "1"
    for key in ("expected", "at_most", "at_least", "at", "least_step"):
        value = getattr(judgement, key)
        if value is not None and not value.word:
            yield key, value, own
    if judgement.tolerance is not None and isinstance(judgement.tolerance.of, Value):
        yield "tolerance.of", judgement.tolerance.of, own
    if judgement.at_equal is not None:
        yield "at_equal.value", judgement.at_equal.value, CHANNELS[judgement.at_equal.channel].unit
    if judgement.exercised is not None:
        yield "exercised.by", judgement.exercised.by, CHANNELS[judgement.exercised.channel].unit
    for index, event in enumerate(judgement.events):
        if event.crosses is not None:
            yield f"events[{index}].crosses", event.crosses, CHANNELS[event.channel].unit


def _check_distinct(judgement: Judgement, where: str) -> None:
    """Nothing is compared with itself."""
    groups: list[tuple[str, list[str]]] = [
        ("runs", list(judgement.runs)),
        ("readings", [str(ref) for ref in judgement.readings]),
        ("events", [event.name for event in judgement.events]),
        ("less", [str(ref) for ref in (judgement.more, *judgement.less) if ref is not None]),
        ("less", [str(ref) for ref in (judgement.reading, *judgement.less) if ref is not None]),
        ("relative_to", [str(ref) for ref in (judgement.reading, judgement.relative_to) if ref is not None]),
        ("longer_than", [name for name in (judgement.run, judgement.longer_than) if name]),
        ("against", [name for name in (judgement.run, judgement.against) if name]),
    ]
    if judgement.exercised is not None:
        groups.append(("exercised.less", [str(judgement.exercised.more), str(judgement.exercised.less)]))
    if judgement.at_equal is not None:
        for ref in (judgement.more, *judgement.less):
            if ref is not None:
                groups.append(("at_equal.slope", [ref.reading, judgement.at_equal.slope]))
    for key, names in groups:
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise InputError(f"{twice!r} is named twice", f"{where}.{key}", "compare two different things", "duplicate")


def _check_standard(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    """The standard atmosphere is taken at the surroundings a run begins with."""
    ref = judgement.reading or judgement.more
    run = runs.get(ref.run if ref is not None else judgement.run)
    moved = {name for step in run.steps for name in step.levers if name in _SKY} if run is not None else set()
    for key, value, _ in _values(judgement):
        if value.standard and moved:
            raise InputError(
                f"the run changes {' and '.join(sorted(moved))}: the standard there is not known beforehand",
                f"{where}.{key}",
                "make it two runs, or a sweep",
                "standard",
            )


def _check_predicted(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    """A prediction is of the surroundings a run begins with, and its judgement says so by its basis."""
    keys = [key for key, value, _ in _values(judgement) if value.predicted]
    if bool(keys) != (judgement.basis == "predicted"):
        hint = "compare with { predicted = ... }" if not keys else "basis = 'predicted'"
        raise InputError("a prediction and the basis 'predicted' go together", f"{where}.basis", hint, "demand")
    ref = judgement.reading or judgement.more
    run = runs.get(ref.run if ref is not None else judgement.run)
    moved = {name for step in run.steps for name in step.levers if name in _AIR} if run is not None else set()
    if keys and moved:
        raise InputError(
            f"the run changes {' and '.join(sorted(moved))}: it cannot be predicted beforehand",
            f"{where}.{keys[0]}",
            "give the number",
            "standard",
        )


def _check_order_of_names(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    if judgement.window is not None:
        _check_window(judgement, runs[judgement.run], where)
    named = (judgement.run, judgement.longer_than, judgement.against)
    pairs = [("between", judgement.between, name) for name in named if name]
    pairs += [(f"events[{i}].between", event.between, judgement.run) for i, event in enumerate(judgement.events)]
    for key, pair, name in pairs:
        if pair is not None:
            steps = [step.name for step in runs[name].steps]
            if not steps.index(pair[0]) < steps.index(pair[1]):
                raise InputError(
                    f"{pair[0]!r} does not come before {pair[1]!r}",
                    f"{where}.{key}",
                    "earlier one first",
                    "range",
                )
    if judgement.since == "end":
        raise InputError("nothing comes after the end", f"{where}.since", "name a step", "range")


def _check_window(judgement: Judgement, run: Run, where: str) -> None:
    begin, finish = judgement.window or ("start", "end")
    steps = [step.name for step in run.steps]
    first = -1 if begin == "start" else len(steps) if begin == "end" else steps.index(begin)
    last = -1 if finish == "start" else len(steps) - 1 if finish == "end" else steps.index(finish)
    flown = (*_FLOWN, "seek") if judgement.include_seek else _FLOWN
    if first > last or first == last == -1:
        raise InputError("the window is empty or reversed", f"{where}.window", "earlier step first", "range")
    if first >= 0 and not any(step.do in flown for step in run.steps[first : last + 1]):
        raise InputError(
            "the window holds no time: its steps take none, or are seeks, which are left out",
            f"{where}.window",
            "widen it, or say include_seek = true",
            "range",
        )


def _check_bound(judgement: Judgement, where: str) -> None:
    both = judgement.at_most is not None and judgement.at_least is not None
    neither = judgement.at_most is None and judgement.at_least is None
    if judgement.what == "limit":
        if both or neither:
            raise InputError("a limit has at_most or at_least", where, "give one of them", "demand")
        return
    two_sided = judgement.expected is not None and judgement.tolerance is not None
    if (judgement.expected is None) != (judgement.tolerance is None):
        raise InputError("expected and tolerance go together", where, "there is no default tolerance", "demand")
    if neither == (not two_sided):
        raise InputError("a difference has at_least, or expected with a tolerance", where, "give one of them", "demand")
    if two_sided and judgement.per is not None:
        raise InputError("per is a least difference", f"{where}.per", "give at_least, not expected", "demand")


def _check_level_speed(judgement: Judgement, where: str) -> None:
    stated = [k for k in ("at_least", "expected", "worth") if getattr(judgement, k) is not None]
    if len(stated) != 1:
        raise InputError("a level speed has one of at_least, expected, worth", where, "give one of them", "demand")
    if stated == ["expected"] and judgement.tolerance is None:
        raise InputError("expected and tolerance go together", where, "there is no default tolerance", "demand")
    if judgement.at_least is None:
        return
    least = judgement.at_least.quantity
    if judgement.tolerance is not None:
        raise InputError("a least difference has no tolerance", f"{where}.tolerance", "remove it", "demand")
    if least is not None and least.value < 0.0:
        raise InputError("slower is no demand", f"{where}.at_least", "swap more and less", "range")


def _check_state(judgement: Judgement, where: str) -> None:
    if sum(map(bool, (judgement.at_reading, judgement.table, judgement.seen))) != 1:
        raise InputError("a state judgement has one of at, table, seen", where, "give one of them", "demand")
    if bool(judgement.at_reading) != (judgement.expected is not None):
        raise InputError("at and expected go together", where, "name the reading and the state", "demand")


def _check_response(judgement: Judgement, where: str) -> None:
    bounded = judgement.at_most is not None or judgement.at_least is not None
    if judgement.measure == "monotone":
        if bounded or judgement.longer_than:
            raise InputError("monotone has no time", f"{where}.measure", "say t10 or t90", "demand")
        return
    if not bounded and not judgement.longer_than:
        raise InputError(
            "a response time needs at_most, at_least or longer_than",
            where,
            "say how long it may take, such as at_most = '8 s'",
            "demand",
        )
    if bounded and judgement.tolerance is None:
        raise InputError("a limit on a time needs a tolerance", where, "there is no default tolerance", "demand")
    low, high = (v.quantity if v is not None else None for v in (judgement.at_least, judgement.at_most))
    for key, bound in (("at_least", low), ("at_most", high)):
        if bound is not None and not bound.to("s", f"{where}.{key}") > 0.0:
            raise InputError(
                f"a time of {bound} asks nothing or what cannot be",
                f"{where}.{key}",
                "a response takes more than no time: give a bound above zero",
                "range",
            )
    if low is not None and high is not None and low.to("s") >= high.to("s"):
        raise InputError("at_least is not below at_most", f"{where}.at_least", "lower bound first", "range")
    if bool(judgement.longer_than) != (judgement.least_gap is not None):
        raise InputError("longer_than and least_gap go together", where, "give both or neither", "demand")


def _check_pair(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    one, other = (runs[name] for name in judgement.runs)
    steps = [[step for step in run.steps if judgement.what != "same" or step.do != "pause"] for run in (one, other)]
    if steps[0] != steps[1] or one.surroundings != other.surroundings:
        raise InputError(
            f"{one.name!r} and {other.name!r} do not fly the same program",
            f"{where}.runs",
            "make their steps and surroundings equal",
            "demand",
        )
    wanted = (1, 2) if judgement.what == "grid_step" else (one.grid, one.grid)
    if (one.grid, other.grid) != wanted:
        raise InputError(
            "the grid steps of the two runs do not fit this judgement",
            f"{where}.runs",
            "grid_step compares grid = 1 with grid = 2, same compares equal grids",
            "demand",
        )


def _check_unmoved(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    """Both runs fly one program, but for the other engines' levers, which the second moves."""
    one, other = (runs[name] for name in judgement.runs)
    if not _moved_others(other):
        raise InputError(
            f"{other.name!r} moves no lever of another engine, so nothing could be felt",
            f"{where}.runs",
            "name second the run with a move such as other_throttle = 1.0",
            "demand",
        )
    if _own_steps(one) != _own_steps(other) or one.surroundings != other.surroundings or one.grid != other.grid:
        raise InputError(
            f"{one.name!r} and {other.name!r} differ in more than the levers of the other engines",
            f"{where}.runs",
            "make everything equal but the levers of the other engines",
            "demand",
        )
    if _moved_others(one):
        raise InputError(
            f"{one.name!r} moves a lever of another engine too",
            f"{where}.runs",
            "let it hold them: only the second run moves them",
            "demand",
        )


def _moved_others(run: Run) -> bool:
    """Whether a lever of the other engines goes anywhere after the run has begun."""
    return any(name in OTHER_LEVERS.values() for step in run.steps[1:] for name in step.levers)


def _own_steps(run: Run) -> list[Step]:
    """The steps with the other engines' levers taken out; a move of those alone lasts like a hold."""
    own = []
    for step in run.steps:
        levers = {name: value for name, value in step.levers.items() if name not in OTHER_LEVERS.values()}
        do = "hold" if step.do == "move" and not levers else step.do
        if do != "set" or levers:
            own.append(replace(step, do=do, levers=levers, name=""))
    return own


def _check_swept_reading(judgement: Judgement, case: ReferenceCase, where: str) -> None:
    points = len(case.sweep.points) if case.sweep else 0
    if judgement.what == "exponent" and points < LEAST_POINTS:
        raise InputError("an exponent needs at least three points", where, "add points to the sweep", "demand")
    _check_by(judgement, where)


def _check_quotient(judgement: Judgement, where: str) -> None:
    _check_by(judgement, where)
    if judgement.by and judgement.relative_to is not None:
        raise InputError("a quotient is not a ratio to another reading", f"{where}.by", "give one of them", "demand")


def _check_by(judgement: Judgement, where: str) -> None:
    if judgement.channel == judgement.by:
        raise InputError(
            f"{judgement.by} against itself shows nothing", f"{where}.by", "name another channel", "demand"
        )
