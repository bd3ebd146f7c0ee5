"""What a flight-test card says, section by section, in plain words. The renderers only set it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from leverproof.channels import CHANNELS
from leverproof.conduct.card import Card, CardRun, Place
from leverproof.conduct.card_sight import Sight
from leverproof.report.card_steps import lever_words, step_words
from leverproof.report.card_table import command_words
from leverproof.report.wording import amount, channel_words, count, quantity

ROUND = (10.0, 20.0, 30.0, 50.0, 100.0, 200.0, 300.0, 500.0, 1_000.0, 2_000.0, 5_000.0)
AIRSPEED = "true_airspeed"


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines; ``numbered`` where the order counts, ``boxed`` where it must be seen first."""

    title: str
    lines: tuple[str, ...]
    numbered: bool = False
    boxed: bool = False


def heading(card: Card) -> tuple[str, ...]:
    """The title, then lines under it: the question, which case and engine this is for."""
    sheet = card.sheet
    return (
        f"Flight-test card: {card.case.title}",
        card.case.question,
        f"Case {card.case.id}, {card.case.subject}. Engine sheet {sheet.id}, revision {sheet.revision}: {sheet.title}.",
    )


def sections(card: Card) -> tuple[Section, ...]:
    """Everything but the table to fill in, in the order of the page."""
    found = [
        Section("What this method can see", tuple(_sees(card)), boxed=True),
        Section("Before you start", tuple(_before(card))),
        Section("When to stop", tuple(_stops(card))),
        Section("What to write down", tuple(_written(card))),
    ]
    for run in card.runs:
        title = "Steps" if len(card.runs) == 1 else f"Steps, run {channel_words(run.name)}"
        lines = tuple(step_words(step, index) for index, step in enumerate(run.steps))
        found.append(Section(title, (*_start(run, card), *lines), numbered=True))
    found.append(Section("What is judged", tuple(_judged(card))))
    return tuple(section for section in found if section.lines)


def _sees(card: Card) -> Iterator[str]:
    """The honest part first: what can be told apart, and what to go by instead."""
    by_hand = [s for s in card.sights if not s.reason]
    unseen = [s for s in card.sights if s.reason]
    if not card.rows:
        yield (
            "Nothing of this case can be judged from numbers written down. Fly the card while something records, and "
            "judge the recording."
        )
    if any(s.reason == "no gauge shows power" for s in unseen) or card.airborne:
        yield _power(card, [s for s in by_hand if s.judgement.what != "level_speed"])
    for sight in by_hand:
        yield _sight(sight)
    for sight in unseen:
        yield f"Not judged from numbers written down: {sight.judgement.asked} ({sight.reason})."


def _power(card: Card, others: list[Sight]) -> str:
    told = card.level_speed
    names = dict.fromkeys(channel_words(s.judgement.channel) for s in others if s.judgement.channel)
    instead = f" Go by {_joined(list(names))}." if names else ""
    if told.reason:
        words = f"No gauge shows power, and what level speed tells of it is not known: {told.reason}."
        return words + instead
    large = next((n for n in ROUND if n >= told.sees), told.sees)
    small = next((n for n in reversed(ROUND) if n < told.sees), 0.0)
    return (
        f"No gauge shows power. By hand you can see {large:,.0f} hp of each engine in level speed, not {small:,.0f}: "
        f"two speeds of some {told.speed:.0f} kt, each read to 3 kt, tell {told.sees:.0f} hp apart, at "
        f"{told.slope:.0f} hp of each engine a knot.{instead}"
    )


def _sight(sight: Sight) -> str:
    judgement = sight.judgement
    head = f"{judgement.asked[:1].upper()}{judgement.asked[1:]}"
    if sight.sees is None:
        return f"{head}: judged from what you write down; how small an effect shows depends on what is found."
    unit = "K" if sight.unit == "degC" else sight.unit
    text = f"{head}: you can see {_about(sight.sees, unit)}"
    if sight.effect is None:
        return f"{text}; a sign is asked, which shows when it is larger than that."
    verdict = "so it can be told" if sight.sees < sight.effect else "so this method cannot tell it by itself"
    text += f"; asked is {amount(sight.effect, unit)}, {verdict}"
    if sight.usual is not None and sight.usual > sight.sees:
        enough = "which still tells it" if sight.usual < sight.effect else "too little"
        text += f" (with a usual gauge {_about(sight.usual, unit)}, {enough})"
    return f"{text}."


def _about(value: float, unit: str) -> str:
    """Two figures: more would claim to know a doubt better than anybody does."""
    return amount(float(f"{value:.2g}"), unit)


def _joined(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _before(card: Card) -> Iterator[str]:
    places = [place for run in card.runs for place in run.places]
    hot = any(place.offset for place in places)
    yield ("Air: " + ("the day each run asks for, see below" if hot else "standard day") + ", wind calm, no cloud.")
    yield "Altimeter set to 1013.25 hPa (29.92 inHg), so that it shows pressure altitude."
    if any(place.humidity for place in places):
        yield "Humidity as each run asks. Where your simulator has no humidity, this card cannot be flown."
    else:
        yield "Dry air where your simulator lets you choose."
    flies = card.airborne or any(place.true_airspeed > 0.0 for place in places)
    if card.mass is not None and flies:
        yield f"Weight {amount(card.mass, 'lb')} ({amount(round(card.mass * 0.45359237), 'kg')}), as the sheet says."
    elif flies:
        yield "Weight: the sheet does not say; use the same for every run and note it."
    started = "running and warm" if card.case.engine == "running" else "stopped and cold"
    several = "set all of them alike" if card.airborne else "one is under test, write down that one's gauges"
    yield f"The engine is {started}. With several engines: {several}."
    yield from _places(card)
    if flies:
        yield (
            "Indicated airspeed is taken as calibrated airspeed; true airspeed is computed from it for the height and "
            "day, compressibility included."
        )
    if any(place.true_airspeed > 0.0 for place in places):
        yield "Where it would fly faster, hold the speed with the other engines, or climb through the height."


def _places(card: Card) -> Iterator[str]:
    """Where each point is flown; run by run only where the runs of a point differ."""
    first = card.runs[0]
    for index, place in enumerate(first.places):
        at = channel_words(place.label)
        if all(run.places[index] == place for run in card.runs):
            yield _place(at or "every run", place)
            continue
        for run in card.runs:
            yield _place(", ".join(part for part in (f"run {channel_words(run.name)}", at) if part), run.places[index])


def _place(head: str, place: Place) -> str:
    day = f" (standard {place.offset:+g} K)" if place.offset else ""
    text = f"{head[:1].upper()}{head[1:]}: pressure altitude {amount(place.altitude, 'ft')}, outside air "
    text += f"{amount(round(place.temperature, 1), 'degC')}{day}"
    if place.humidity:
        text += f", relative humidity {place.humidity * 100.0:g} %"
    if math.isnan(place.true_airspeed):
        return f"{text}; fly level, as fast as it goes, until nothing changes: no climb, no descent."
    if place.true_airspeed == 0.0:
        field = "an airfield of that height" if place.altitude else "an airfield at sea level"
        return f"{text}; standing on {field}, brakes on."
    true, shown = (amount(round(v), "kt") for v in (place.true_airspeed, place.indicated))
    return f"{text}; hold {true} true, which is {shown} indicated."


def _stops(card: Card) -> Iterator[str]:
    for stop in card.stops:
        value = amount(stop.value, CHANNELS[stop.channel].unit)
        name = channel_words(stop.channel)
        if stop.hard:
            yield f"Stop before {name} passes {value}, and write 'limit'. A row beyond it does not count."
        else:
            yield f"The sheet's limit of {name} is {value}. When it is passed, finish the row, note it, and ease off."
    if card.minutes is not None:
        yield f"Take-off power for at most {amount(card.minutes, 'min')} at a time, as the sheet says; then cool down."
    yield "Stop whenever you cannot hold height or speed. A broken-off row costs nothing: leave it empty."


def _written(card: Card) -> Iterator[str]:
    if not card.rows:
        return
    yield (
        f"{count(len(card.rows), 'row')}. Write a row when nothing has changed for 5 s with hands off, all gauges "
        "within a few seconds. Never write what a gauge should show."
    )
    for name in (*card.kept, *card.readings):
        division = (card.divisions or {}).get(name)
        text = channel_words("indicated airspeed" if name == AIRSPEED else name)
        if CHANNELS[name].states:
            yield f"{text}: {' or '.join(channel_words(s) for s in CHANNELS[name].states)}"
        elif division is not None:
            yield f"{text}, read to {amount(division, CHANNELS[name].unit)} or finer"
        else:
            yield f"{text}, as held"
    needed = [channel_words(name) for name in card.readings if name in card.case.applies.channels]
    if needed:
        yield f"Nothing of this case can be judged without {_joined(needed)}."
    if any(row.index < 0 for row in card.rows):
        yield (
            "The row '(elsewhere)': all gauges once more at quite another setting, for example idling on the ground. A "
            "gauge that never moves may not be connected, and nothing is believed of it."
        )
    if any(row.sought for row in card.rows):
        yield "how the last search ended: 'reached', 'stop' (lever at its stop) or 'limit'"
    yield "'no' under steady where something kept moving: the row is then named to be flown again, and not judged."
    yield "Write the smallest division of your own gauges into the row 'division'. A gauge you lack: leave it empty."
    yield f"Then type the rows into the file of `leverproof card --table FILE` and run: {command_words(card, 'FILE')}"


def _start(run: CardRun, card: Card) -> Iterator[str]:
    if run.others:
        others = "; ".join(lever_words(name, (value,)) for name, value in run.others.items())
        yield f"Begin with {others}."


def _judged(card: Card) -> Iterator[str]:
    for sight in card.sights:
        judgement = sight.judgement
        weight = "" if judgement.weight == "required" else ", advisory"
        how = (
            "by a recording only" if sight.reason and card.rows == () else "not from this table" if sight.reason else ""
        )
        within = f", within {_tolerance(sight)}" if judgement.tolerance is not None else ""
        yield f"{judgement.asked}{within} ({judgement.basis}{weight}){f': {how}' if how else ''}"


def _tolerance(sight: Sight) -> str:
    tolerance = sight.judgement.tolerance
    if tolerance is None:
        return ""
    parts = []
    if tolerance.absolute is not None:
        parts.append(quantity(tolerance.absolute))
    if tolerance.percent is not None:
        parts.append(f"{tolerance.percent:g} %")
    return " or ".join(parts)
