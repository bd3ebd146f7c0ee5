"""What a judgement asks, in one sentence made from its fields."""

from __future__ import annotations

from collections.abc import Callable

from leverproof.cases.model import Event, Judgement, Value
from leverproof.channels import CHANNELS
from leverproof.report.wording import channel_words, quantity, visible

Words = Callable[[Value], str]


def judgement_words(judgement: Judgement, words: Words) -> str:
    """The sentence; ``words`` puts a value in words. Empty for a kind of judgement that has none."""
    made = _SENTENCES.get(judgement.what)
    return visible(made(judgement, words)) if made is not None else ""


def _bounds(j: Judgement, words: Words) -> str:
    parts = []
    if j.expected is not None:
        parts.append(f"is {words(j.expected)}")
    if j.at_least is not None:
        parts.append(f"is at least {words(j.at_least)}")
    if j.at_most is not None:
        parts.append(f"is at most {words(j.at_most)}")
    return " and ".join(parts) or "is judged"


def _value(j: Judgement, words: Words) -> str:
    ratio = f", as a ratio to its reading {j.relative_to}," if j.relative_to is not None else ""
    by = f" by {channel_words(j.by)}" if j.by else ""
    return f"{channel_words(j.channel)}{by} at {j.reading}{ratio} {_bounds(j, words)}"


def _limit(j: Judgement, words: Words) -> str:
    start = (
        f"the change of {channel_words(j.channel)} from {j.change_from}" if j.change_from else channel_words(j.channel)
    )
    text = f"{start} in run {j.run} {_bounds(j, words)}"
    text += f" from {_marked(j.window[0])} to {_marked(j.window[1])}" if j.window is not None else " throughout"
    text += ", once settled (later than 10 s after the last lever move)" if j.once_settled else ""
    return text + (", seeks included" if j.include_seek else "")


def _level_speed(j: Judgement, words: Words) -> str:
    less = " and ".join(str(ref) for ref in j.less)
    text = f"top level speed at {j.more} less that at {less} {_bounds(j, words)}"
    if j.worth is not None:
        text = f"top level speed at {j.more} less that at {less} is what {quantity(j.worth)} is worth in level flight"
    return text + _conditions(j, words)


def _difference(j: Judgement, words: Words) -> str:
    less = " and ".join(str(ref) for ref in j.less)
    of = f"the largest of {less}" if len(j.less) > 1 else less
    return f"{channel_words(j.channel)} at {j.more} less that at {of} {_bounds(j, words)}" + _conditions(j, words)


def _conditions(j: Judgement, words: Words) -> str:
    text = ""
    if j.at_equal is not None:
        text += f", both corrected to {channel_words(j.at_equal.channel)} {words(j.at_equal.value)}"
    if j.one_charge_temperature:
        text += ", both put at one carburettor air temperature by the square root law"
    if j.per is not None:
        text += f", and at least {quantity(j.per.rate)} of the difference in {channel_words(j.per.channel)}"
    if j.exercised is not None:
        text += (
            f"; counts only where {channel_words(j.exercised.channel)} is at least "
            f"{words(j.exercised.by)} higher at {j.exercised.more} than at {j.exercised.less}"
        )
    return text


def _trend(j: Judgement, words: Words) -> str:
    along = f"with {channel_words(j.over)}" if j.over else f"from {' to '.join(str(ref) for ref in j.readings)}"
    at = f" at {j.reading}" if j.reading is not None else ""
    text = f"{channel_words(j.channel)}{at} is {channel_words(j.direction)} {along}"
    if j.least_step is not None and j.direction.startswith("never_"):
        text += f"; a step the other way of up to {words(j.least_step)} still counts as none"
    elif j.least_step is not None:
        text += f", by at least {words(j.least_step)} at each step"
    if j.span is not None:
        text += f", between {words(j.span[0])} and {words(j.span[1])}"
    if j.while_ending:
        text += f", counting points whose seek ended {' or '.join(j.while_ending)}"
    return text


def _marked(name: str) -> str:
    """A step as the procedure marks it; the beginning and the end of a run are no steps."""
    return name if name in ("", "start", "end") else f"[{name}]"


def _event(event: Event, words: Words) -> str:
    name = channel_words(event.channel)
    if event.state:
        return f"{name} becomes {channel_words(event.state)}"
    if event.crosses is not None:
        return f"{name} passes {words(event.crosses)} {event.direction}".rstrip()
    if event.fraction is not None and event.between is not None:
        first, last = event.between
        return f"{name} has made {event.fraction * 100:g} % of its change from {_marked(first)} to {_marked(last)}"
    return _marked(event.name)


def _order(j: Judgement, words: Words) -> str:
    text = f"in run {j.run}, in this order: {'; '.join(_event(event, words) for event in j.events)}"
    return text + (f"; at least {quantity(j.least_gap)} apart" if j.least_gap is not None else "")


def _state(j: Judgement, words: Words) -> str:
    text = f"{channel_words(j.channel)} in run {j.run}"
    if j.table:
        return f"{text} agrees with the sheet's {channel_words(j.table)} table throughout"
    if j.seen:
        place = f" between {_marked(j.window[0])} and {_marked(j.window[1])}" if j.window is not None else ""
        return f"{text} is seen {channel_words(j.seen)}{place}"
    return f"{text} at {j.at_reading or 'its reading'} {_bounds(j, words)}"


def _response(j: Judgement, words: Words) -> str:
    if j.measure == "monotone":
        return f"{channel_words(j.channel)} in run {j.run} moves one way only after {_marked(j.since)}"
    share = {"t10": "10 %", "t90": "90 %"}.get(j.measure, j.measure)
    name = channel_words(j.channel)
    text = f"the time from {_marked(j.since)} until {name} in run {j.run} has made {share} of its change"
    if j.between is not None:
        text += f" from {_marked(j.between[0])} to {_marked(j.between[1])}"
    if j.longer_than:
        gap = f" by at least {quantity(j.least_gap)}" if j.least_gap is not None else ""
        return f"{text} is longer than in run {j.longer_than}{gap}"
    return f"{text} {_bounds(j, words)}"


def _ending(j: Judgement, _: Words) -> str:
    return f"the seek {_marked(j.seek)} in run {j.run} ends with: {' or '.join(channel_words(e) for e in j.endings)}"


def _crossing(j: Judgement, words: Words) -> str:
    at = words(j.at) if j.at is not None else "its value"
    name = f"{channel_words(j.channel)} at {j.reading}"
    if j.less:
        name += f" less that at {j.less[0]}"
    return f"the {channel_words(j.over)} at which {name} passes {at} {_bounds(j, words)}"


def _exponent(j: Judgement, words: Words) -> str:
    return (
        f"the exponent of {channel_words(j.channel)} against {channel_words(j.by)} at {j.reading}, over "
        f"{channel_words(j.over)}, {_bounds(j, words)}"
    )


def _identity(j: Judgement, _: Words) -> str:
    return f"brake power equals torque times engine speed at {j.reading}"


def _same(j: Judgement, _: Words) -> str:
    return f"the runs {' and '.join(j.runs)} are equal bit for bit"


def _grid_step(j: Judgement, _: Words) -> str:
    times = f"; times within {j.time_tolerance:g} % or one coarse step" if j.time_tolerance is not None else ""
    return f"the runs {' and '.join(j.runs)} end at the same values{times}"


def _unmoved(j: Judgement, _: Words) -> str:
    still, moved = j.runs
    return f"no sample of any reading in run {moved} is apart from that in run {still}"


_MEASURED = {
    "tube": "keeps to the same course",
    "end": "has changed as much at the end",
    "area": "takes the same values as often (area between distributions)",
    "magnitude": "is as large (Sprague-Geers magnitude)",
    "phase": "is in step (Sprague-Geers phase)",
    "combined": "is as large and in step (Sprague-Geers combined)",
    "inequality": "is equal (Theil's inequality coefficient)",
    "t10": "has made 10 % of its change as soon",
    "t90": "has made 90 % of its change as soon",
    "overshoot": "goes as far beyond its end (share of the change)",
    "settling": "settles as soon",
}


def _history(j: Judgement, _: Words) -> str:
    span = f" from {_marked(j.between[0])} to {_marked(j.between[1])}" if j.between is not None else ""
    text = f"counted as increments{span}, {channel_words(j.channel)} in run {j.run} {_MEASURED.get(j.measure, '')}"
    if j.band is not None:
        text += f" within {100.0 * j.band:g} % of its end"
    against = f"the run {j.against}" if j.against else "a stored curve"
    text += f" as in {against}, both from the lever movement {_marked(j.since)}"
    if j.time_within is not None and j.time_within.absolute is not None:
        text += f", {quantity(j.time_within.absolute)} early or late allowed ({j.time_within.reason})"
    if j.curve is None:
        return text
    symbol = CHANNELS[j.channel].unit
    doubt = "not stated" if j.curve.doubt is None else f"{j.curve.doubt:g} {symbol}"
    ends = " to ".join(f"{v:g}" for v in (j.curve.values[0], j.curve.values[-1]))
    return (
        f"{text}; the curve has {len(j.curve.values)} points over {j.curve.seconds[-1]:g} s, from {ends} {symbol}, "
        f"and its doubt is {doubt}"
    )


_SENTENCES: dict[str, Callable[[Judgement, Words], str]] = {
    "value": _value,
    "limit": _limit,
    "difference": _difference,
    "level_speed": _level_speed,
    "trend": _trend,
    "order": _order,
    "state": _state,
    "response": _response,
    "ending": _ending,
    "crossing": _crossing,
    "exponent": _exponent,
    "identity": _identity,
    "same": _same,
    "grid_step": _grid_step,
    "unmoved": _unmoved,
    "history": _history,
}
