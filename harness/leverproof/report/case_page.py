"""A reference case on one page, in plain words: question, conditions, procedure, what is judged and why."""

from __future__ import annotations

from collections.abc import Iterator

from leverproof.cases.model import AMOUNTS, Applies, Judgement, ReferenceCase, Step, Sweep, Tolerance, Value
from leverproof.report.judgement_words import judgement_words
from leverproof.report.wording import channel_words, datum_words, duration, fill, quantity, visible


def render(case: ReferenceCase, *, width: int = 90) -> str:
    """The page as text of at most about ``width`` columns."""
    out = [
        visible(case.title),
        f"{visible(case.id)}, {visible(case.subject)}",
        "",
        fill(case.question, width),
    ]
    out += _section("Conditions", _conditions(case), width)
    out += _section("Applies when", list(_applies(case.applies)), width)
    for run in case.runs:
        title = f"Procedure, run {visible(run.name)}"
        steps = [f"{index}. {step_words(step)}" for index, step in enumerate(run.steps, start=1)]
        if run.surroundings:
            steps.insert(0, "With " + _settings(run.surroundings) + ".")
        if run.grid != 1:
            steps.insert(0, f"On a grid step of one {run.grid}th of the stand's." if run.grid > 2 else _HALF)
        out += _section(title, steps, width)
    out += ["", "Judged"]
    if any(step.do == "read" and step.name for run in case.runs for step in run.steps):
        out.append(fill(_NAMED, width, indent="  ", hang="     "))
    for judgement in case.judgements:
        out += list(_judgement(judgement, width))
    if case.consequence:
        out += _section("If this fails", [case.consequence], width)
    out += ["", fill(f"Caution: {case.caution}", width)]
    return "\n".join(out) + "\n"


_NAMED = "RUN.READING stands for the reading marked [READING] in run RUN; [STEP] for the step marked so."
_HALF = "On half the stand's grid step."


def _section(title: str, lines: list[str], width: int) -> list[str]:
    if not lines:
        return []
    return ["", title, *(fill(line, width, indent="  ", hang="     ") for line in lines)]


def _conditions(case: ReferenceCase) -> list[str]:
    started = {
        "running": "The engine is running, warm and trimmed.",
        "stopped": "The engine stands still, cold.",
    }
    out = [started[case.engine]]
    if case.surroundings:
        out.append(f"Surroundings: {_settings(case.surroundings)}.")
    if case.sweep is not None:
        out.append(sweep_words(case.sweep))
    return out


def sweep_words(sweep: Sweep) -> str:
    """The points of a sweep, and how many more the seed draws."""
    points = ", ".join(quantity(point) for point in sweep.points)
    text = f"Repeated at {channel_words(sweep.name)} {points}"
    if sweep.off_points and sweep.low is not None and sweep.high is not None:
        bounds = f"{quantity(sweep.low)} and {quantity(sweep.high)}"
        text += f", and at {sweep.off_points} more drawn by the seed between {bounds}"
    return text + "."


def _applies(applies: Applies) -> Iterator[str]:
    for path, words in applies.sheet.items():
        yield f"the sheet says {datum_words(path)}: {' or '.join(channel_words(w) for w in words)}"
    if applies.data:
        yield f"the sheet states {_joined(tuple(map(datum_words, applies.data)))}"
    if applies.without:
        yield f"the sheet does not state {_joined(tuple(map(datum_words, applies.without)))}"
    if applies.levers:
        yield f"the model has the lever{'s' if len(applies.levers) > 1 else ''} {_joined(applies.levers)}"
    if applies.channels:
        yield f"the model shows {_joined(applies.channels)}"
    if applies.capabilities:
        yield f"the stand is {_joined(applies.capabilities)}"
    if applies.lost:
        yield f"otherwise lost: {applies.lost}"


def _joined(names: tuple[str, ...]) -> str:
    spoken = [channel_words(name) for name in names]
    return spoken[0] if len(spoken) == 1 else f"{', '.join(spoken[:-1])} and {spoken[-1]}"


def _settings(values: dict[str, Value]) -> str:
    return ", ".join(f"{channel_words(name)} {value_words(value)}" for name, value in values.items())


def value_words(value: Value) -> str:
    """A value of a case in words; a sheet datum is named, because the sheet gives its number."""
    if value.quantity is not None:
        return quantity(value.quantity)
    if value.sheet:
        text = f"the sheet's {datum_words(value.sheet)}"
    elif value.predicted:
        text = f"the predictor's {channel_words(value.predicted.replace('.', ' '))} ({channel_words(value.part)})"
    elif value.sweep:
        text = f"the point's {channel_words(value.sweep)}"
    elif value.standard:
        text = f"the standard {channel_words(value.standard)} there"
    else:
        return channel_words(value.word)
    if value.times != 1.0:
        text += f" x {value.times:g}"
    if value.plus is not None:
        below = value.plus.value < 0
        text += f" {'less' if below else 'plus'} {quantity(value.plus).lstrip('-')}"
    return text


def step_words(step: Step) -> str:
    """One step of a lever program in words."""
    mark = f" [{visible(step.name)}]" if step.name else ""
    if step.do == "set":
        return f"Set {_settings(step.levers)}.{mark}"
    if step.do == "move":
        return f"Move {_settings(step.levers)} over {duration(step.duration)}.{mark}"
    if step.do == "hold":
        return f"Hold for {duration(step.duration)}.{mark}"
    if step.do == "pause":
        return f"Pause: ask nothing of the model for {duration(step.duration)} by the clock on the wall.{mark}"
    if step.do == "seek":
        return _seek_words(step) + mark
    if step.do == "couple":
        lead = f", boost ahead by {step.lead:g}" if step.lead else ""
        return f"Couple throttle and boost{lead}.{mark}"
    if step.do == "uncouple":
        return f"Uncouple throttle and boost.{mark}"
    if step.do == "read":
        wait = f", waiting at most {duration(step.limit)} until they are steady" if step.limit else ""
        return f"Read the gauges{wait}.{mark}"
    return f"{visible(step.do).capitalize()}.{mark}"


def _seek_words(step: Step) -> str:
    target = value_words(step.value) if step.value is not None else "its value"
    text = f"Move {channel_words(step.lever)} until {channel_words(step.channel)} holds {target}"
    if step.within is not None:
        text += f" within {quantity(step.within)}"
    if step.rate is not None:
        text += f", at {quantity(step.rate)}"
    if step.limit:
        text += f", in at most {duration(step.limit)}"
    for name, guarded in step.guard.items():
        text += f"; stop before {channel_words(name)} passes {value_words(guarded)}"
    if step.accept:
        text += f"; also good: {', '.join(_ACCEPTED.get(a, channel_words(a)) for a in step.accept)}"
    return text + "."


_ACCEPTED = {
    "stop": "the lever reaches its stop",
    "no response": "the reading does not answer the lever",
    "not monotone": "the reading turns back on the way",
    "not reached": "the time is up",
}


def tolerance_words(tolerance: Tolerance, *, expected: str = "the expected value") -> str:
    """A tolerance in words, with what a percentage is of and why it is this wide."""
    parts = []
    if tolerance.absolute is not None:
        parts.append(quantity(tolerance.absolute))
    if tolerance.percent is not None:
        of = {"expected": expected, "range": "the channel's range"}
        whole = of[tolerance.of] if isinstance(tolerance.of, str) else value_words(tolerance.of)
        parts.append(f"{tolerance.percent:g} % of {whole}")
    text = " or ".join(parts) + (", whichever is less restrictive" if len(parts) == 2 else "")
    if tolerance.tier:
        text += f", {TIERS[tolerance.tier]}"
    if tolerance.loosened:
        text += f"; {tolerance.loosened}"
    return f"{text} ({tolerance.reason})" if tolerance.reason else text


TIERS = {
    "validation": "against data (validation tier)",
    "simulation": "of which 40 % apply, because the reference is another simulation (simulation tier)",
    "regression": "against the model itself (regression tier)",
}


def _judgement(judgement: Judgement, width: int) -> Iterator[str]:
    yield fill(f"{judgement.id}: {judgement.asked}", width, indent="  ", hang="     ")
    rows = [("how", judgement_words(judgement, value_words))]
    if judgement.tolerance is not None:
        whole = "the reference's change" if judgement.measure in AMOUNTS else "the expected value"
        rows.append(("tolerance", tolerance_words(judgement.tolerance, expected=whole)))
    advisory = "advisory: never changes the ending"
    rows.append(("weight", judgement.weight if judgement.weight == "required" else advisory))
    rows += [("basis", judgement.basis), ("source", judgement.source), ("why", judgement.why)]
    rows.append(("only when", "; ".join(_applies(judgement.applies))))
    for head, text in rows:
        if text:
            yield fill(text, width, indent=f"     {head:<9}  ", hang=" " * 16)
