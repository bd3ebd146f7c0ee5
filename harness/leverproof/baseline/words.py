"""What a check found, in the words that the log and every report use."""

from __future__ import annotations

from leverproof.baseline.checked import FirstMove, Place, RunChecked
from leverproof.channels import CHANNELS
from leverproof.judge.words import amount, number, spoken, state_word, unit_of

_BESIDE = 3


def value_words(channel: str, value: float) -> str:
    """A value of a channel with its unit, or the state it stands for."""
    known = CHANNELS.get(channel)
    if known is not None and known.states:
        return state_word(channel, value)
    return amount(value, unit_of(channel))


def doubts_words(place: Place) -> str:
    """How far a number moved, in units of doubt; a state is another one."""
    return "another state" if place.doubts is None else f"{_few(place.doubts)} units of doubt"


def _few(value: float) -> str:
    """Two figures: a doubt is not known better."""
    return number(float(f"{value:.2g}"))


def tolerances_words(place: Place | None) -> str:
    """How far a number moved, in tolerances."""
    if place is None:
        return "-"
    return "another state" if place.tolerances is None else f"{_few(place.tolerances)} tolerances"


def run_words(run: str, point: str) -> str:
    """A run as people call it: its name, and the point of a sweep."""
    name = run.partition("/")[2] or run
    return f"{name}, {point}" if point else name


def at_words(place: Place) -> str:
    """When that was."""
    return "at its first sample" if place.time == 0.0 else f"at {amount(place.time, 's')}"


def moved_words(place: Place) -> str:
    """A number that moved: what it is, and was."""
    return f"{value_words(place.channel, place.found)} for {value_words(place.channel, place.was)}"


def begun_words(places: tuple[Place, ...]) -> str:
    """What moved first in a run, and beside it what moved with it or soon after."""
    if not places:
        return "no channel before its steps"
    first = places[0]
    told = f"{spoken(first.channel)} {at_words(first)}: {moved_words(first)}, {doubts_words(first)}"
    unit = amount(float(f"{first.doubt:.2g}"), first.unit)
    told += "" if first.doubts is None else f" of {unit}"
    soon = "within half a second"
    for words, some in (("at the same instant", _behind(places, later=False)), (soon, _behind(places, later=True))):
        shown = [f"{spoken(p.channel)} ({doubts_words(p)})" for p in some[:_BESIDE]]
        more = f" and {len(some) - len(shown)} more" if len(some) > len(shown) else ""
        told += f"; {words} {', '.join(shown)}{more}" if shown else ""
    return told


def _behind(places: tuple[Place, ...], *, later: bool) -> list[Place]:
    """What moved with the first, or within half a second after it."""
    return [place for place in places[1:] if (place.time > places[0].time) == later]


def first_words(first: FirstMove) -> str:
    """The channel that moved first, over the whole run."""
    where = f"{first.case}, {run_words(first.run, first.point)}"
    told = f"{spoken(first.channel)}, in {first.runs} of {first.of} runs that moved; earliest in {where}: "
    return told + begun_words(first.places)


def largest_of(run: RunChecked) -> str:
    """The number of a run that moved most, in words; "" where none did."""
    place = run.largest
    if place is None or not place.apart > 0.0:
        return ""
    at = f"at {place.where}"
    return f"{spoken(place.channel)} {at}: {moved_words(place)}, {tolerances_words(place)}"
