"""The steps of a lever program in the words of a person's card: lever by lever, positions in words and numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence

from leverproof.channels import CHANNELS
from leverproof.conduct.card import CardStep
from leverproof.report.wording import amount, channel_words, duration, visible
from leverproof.timegrid import TICKS_PER_SECOND

QUICK = 2 * TICKS_PER_SECOND
PLACES = {
    "propeller": ("full coarse", "full forward"),
    "throttle": ("closed", "full open"),
    "boost": ("full back", "full forward"),
}


def step_words(card_step: CardStep, index: int) -> str:
    """One step; where it differs from point to point the values stand in the order of the points. ``index`` 0 is the
    start, which may take its time."""
    step = card_step.steps[0]
    if step.do == "set":
        when = "Set up" if index == 0 else "At once"
        return f"{when}: {_levers(card_step)}."
    if step.do == "move":
        if any(CHANNELS[name].kind == "surrounding" for name in step.levers):
            return f"Bring the aeroplane there, in the time it needs: {_levers(card_step)}."
        quick = step.duration <= QUICK
        pace = "as fast as your hand goes" if quick else f"slowly, over some {duration(step.duration)}"
        return f"Move, {pace}: {_levers(card_step)}."
    if step.do == "hold":
        return f"Hands off for {duration(step.duration)}."
    if step.do == "pause":
        return f"Pause the simulation for {duration(step.duration)} by your watch, touch nothing, and let it go on."
    if step.do == "seek":
        return _seek(card_step)
    if step.do == "couple":
        lead = f", boost ahead by {step.lead * 100.0:g} % of travel" if step.lead else ""
        return f"From here move throttle and boost together, always the same travel{lead}."
    if step.do == "uncouple":
        return "From here throttle and boost move by themselves again."
    wait = f" (give it up to {duration(step.limit)})" if step.limit else ""
    then = f" Write the row {visible(step.name)!r}." if card_step.written else ""
    return f"Hands off until nothing has changed for 5 s{wait}.{then}"


def _levers(card_step: CardStep) -> str:
    names = list(dict.fromkeys(name for step in card_step.steps for name in step.levers))
    texts = []
    for name in names:
        text = lever_words(name, [step.levers[name] for step in card_step.steps if name in step.levers])
        if name == "true_airspeed":
            shown = [v for v in card_step.indicated if not math.isnan(v)]
            text += f" ({_row_by_row(sorted({round(v) for v in shown}), 'kt')} indicated)"
        texts.append(text)
    return "; ".join(texts)


def lever_words(name: str, values: Sequence[float]) -> str:
    """A lever or surrounding with its place, or its places row by row."""
    different = list(dict.fromkeys(values))
    places = " / ".join(_place(name, value) for value in different)
    rows = ", point by point" if len(different) > 1 else ""
    return f"{channel_words(name)} {places}{rows}"


def _row_by_row(values: Sequence[float], unit: str) -> str:
    return " / ".join(amount(value, unit) for value in values)


def _place(name: str, value: float) -> str:
    known = CHANNELS[name]
    if known.states:
        return channel_words(known.states[round(value)])
    if known.kind == "surrounding":
        return f"{value:+g} K from standard" if name == "temperature_offset" else amount(value, known.unit)
    low, high = PLACES.get(name, (known.positions[0][0], known.positions[-1][0]))
    share = f"{value * 100.0:.3g} %"
    if value in (0.0, 1.0):
        word = low if value == 0.0 else high
        return f"{channel_words(word)} ({share})"
    return f"{share} of its travel from {channel_words(low)}"


def _seek(card_step: CardStep) -> str:
    step = card_step.steps[0]
    unit = CHANNELS[step.channel].unit
    values = list(dict.fromkeys(s.value for s in card_step.steps))
    target = " / ".join(amount(value, unit) for value in values)
    points = " (point by point)" if len(values) > 1 else ""
    text = (
        f"Move {channel_words(step.lever)} gently until {channel_words(step.channel)} stands at {target}{points}, "
        f"within {amount(card_step.near, unit)}"
    )
    if step.limit:
        text += f", in at most {duration(step.limit)}"
    ways = []
    if "stop" in step.accept:
        ways.append("the lever reaches its stop ('stop')")
    for name, limit in step.guard.items():
        ways.append(f"{channel_words(name)} reaches {amount(limit, CHANNELS[name].unit)} ('limit')")
    if ways:
        text += f". Leave it there too when {' or '.join(ways)}"
    elif step.guard == {} and step.accept == ():
        text += ". It has to get there"
    return f"{text}."
