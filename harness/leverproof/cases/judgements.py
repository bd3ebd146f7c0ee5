"""Reading the judgements of a case into data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from leverproof.cases.curve import parse_curve
from leverproof.cases.model import (
    SCORES,
    TIMES,
    Applies,
    AtEqual,
    Event,
    Exercised,
    Judgement,
    Per,
    Ref,
    Tolerance,
    Value,
)
from leverproof.cases.values import (
    check_ending,
    parse_applies,
    parse_tolerance,
    parse_value,
    reading_channel,
)
from leverproof.channels import CHANNELS, state_index
from leverproof.errors import InputError
from leverproof.quantities import UNITS, Quantity, parse

_TIMED = ("response",)


def parse_judgement(entry: Mapping[str, Any], where: str, swept: str = "") -> Judgement:
    """One judgement, its values checked against the unit of what it judges. ``swept``: unit of the swept variable."""
    what = entry["what"]
    symbol = _unit(entry, where, swept)
    values = _values(entry, where, symbol)
    return Judgement(
        id=entry["id"],
        what=what,
        asked=entry["asked"],
        weight=entry["weight"],
        basis=entry["basis"],
        source=entry["source"],
        why=entry.get("why", ""),
        resolves=entry.get("resolves", ""),
        applies=parse_applies(entry["applies"], f"{where}.applies") if "applies" in entry else Applies(),
        channel="brake_power" if what == "level_speed" else entry.get("channel", ""),
        by=reading_channel(entry["by"], f"{where}.by").name if "by" in entry else "",
        run=entry.get("run", ""),
        runs=tuple(entry.get("runs", ())),
        reading=_ref(entry.get("reading")),
        readings=_refs(entry.get("readings", ())),
        relative_to=_ref(entry.get("relative_to")),
        more=_ref(entry.get("more")),
        less=_refs(entry.get("less", ())),
        expected=values["expected"],
        at_most=values["at_most"],
        at_least=values["at_least"],
        least_step=values["least_step"],
        at=parse_value(entry["at"], f"{where}.at", CHANNELS[entry["channel"]].unit) if what == "crossing" else None,
        at_reading=entry.get("at", "") if what == "state" else "",
        tolerance=parse_tolerance(entry.get("tolerance"), f"{where}.tolerance", symbol),
        time_tolerance=entry.get("time_tolerance") if what != "history" else None,
        window=_pair(entry.get("window")),
        once_settled=bool(entry.get("once_settled", False)),
        include_seek=bool(entry.get("include_seek", False)),
        change_from=entry.get("change_from", ""),
        at_equal=_at_equal(entry.get("at_equal"), f"{where}.at_equal"),
        exercised=_exercised(entry.get("exercised"), f"{where}.exercised"),
        per=_per(entry.get("per"), f"{where}.per", symbol),
        one_charge_temperature=bool(entry.get("one_charge_temperature", False)),
        over=entry.get("over", ""),
        direction=entry.get("direction", ""),
        span=_span(entry.get("span"), f"{where}.span", swept),
        while_ending=_endings(entry.get("while_ending", ()), f"{where}.while_ending"),
        events=tuple(_event(e, f"{where}.events[{i}]") for i, e in enumerate(entry.get("events", ()))),
        least_gap=_gap(entry.get("least_gap"), f"{where}.least_gap"),
        table=entry.get("table", ""),
        seen=_seen(entry, where),
        since=entry.get("since", ""),
        between=_pair(entry.get("between")),
        measure=entry.get("measure", ""),
        longer_than=entry.get("longer_than", ""),
        seek=entry.get("seek", ""),
        endings=_endings(entry.get("endings", ()), f"{where}.endings"),
        worth=_worth(entry.get("worth"), f"{where}.worth"),
        against=entry.get("against", ""),
        curve=parse_curve(entry.get("curve"), f"{where}.curve", entry.get("channel", "")),
        time_within=_time_within(entry, where) if what == "history" else None,
        band=entry["settled_within"] / 100.0 if "settled_within" in entry else None,
    )


def _refs(given: str | Sequence[str]) -> tuple[Ref, ...]:
    return tuple(_must(one) for one in ([given] if isinstance(given, str) else given))


def _time_within(entry: Mapping[str, Any], where: str) -> Tolerance | None:
    return parse_tolerance(entry.get("time_tolerance"), f"{where}.time_tolerance", "s")


def _values(entry: Mapping[str, Any], where: str, symbol: str) -> dict[str, Value | None]:
    """What is compared with, by key; the word of a state judgement is one of its channel's."""
    state = entry["what"] == "state"
    keys = ("expected", "at_most", "at_least", "least_step")
    values: dict[str, Value | None] = {
        key: parse_value(entry[key], f"{where}.{key}", symbol) if key in entry and not state else None for key in keys
    }
    if state and "expected" in entry:
        state_index(entry["channel"], entry["expected"], f"{where}.expected")
        values["expected"] = Value(word=entry["expected"])
    return values


def _endings(words: Any, where: str) -> tuple[str, ...]:
    for index, word in enumerate(words):
        if word != "limit":
            check_ending(word, f"{where}[{index}]")
    return tuple(words)


def _seen(entry: Mapping[str, Any], where: str) -> str:
    word: str = entry.get("seen", "")
    if word:
        state_index(entry["channel"], word, f"{where}.seen")
    return word


def _unit(entry: Mapping[str, Any], where: str, swept: str) -> str:
    """Unit in which a judgement's values are compared."""
    what = entry["what"]
    if "channel" in entry:
        judged = reading_channel(entry["channel"], f"{where}.channel", states=what == "state")
        if what == "state" and not judged.states:
            raise InputError(
                f"{judged.name} has numbers, not states",
                f"{where}.channel",
                "judge it with what = 'value' or 'limit'",
                "channel",
            )
    if what in _TIMED or (what == "history" and entry["measure"] in TIMES):
        return "s"
    if what == "history" and entry["measure"] in SCORES:
        return "1"
    if what == "level_speed":
        return "kt"
    if what == "crossing":
        return swept or "1"
    if what in ("exponent", "identity", "grid_step", "unmoved") or "relative_to" in entry or "by" in entry:
        return "1"
    return CHANNELS[entry["channel"]].unit if "channel" in entry else "1"


def _ref(text: str | None) -> Ref | None:
    return None if text is None else _must(text)


def _must(text: str) -> Ref:
    run, _, reading = text.rpartition(".")
    return Ref(run, reading)


def _pair(entry: Any) -> tuple[str, str] | None:
    return None if entry is None else (entry[0], entry[1])


def _worth(entry: Any, where: str) -> Quantity | None:
    if entry is None:
        return None
    power = parse(entry, where)
    if power.difference_in("hp", where) <= 0.0:
        raise InputError("a power must be above zero", where, "say how much power, such as '50 hp'", "range")
    return power


def _gap(entry: Any, where: str) -> Any:
    if entry is None:
        return None
    gap = parse(entry, where)
    if gap.to("s", where) < 0.0:
        raise InputError(
            "a gap cannot be negative",
            where,
            "give the gap as a time from '0 s'; the order of the events says which comes first",
            "range",
        )
    return gap


def _span(entry: Any, where: str, swept: str) -> tuple[Value, Value] | None:
    """The part of the sweep that is judged, in the sweep's own unit."""
    if entry is None:
        return None
    low, high = (parse(e, f"{where}[{i}]").to(swept or "1", f"{where}[{i}]") for i, e in enumerate(entry))
    if not low < high:
        raise InputError("the span is empty or reversed", where, "lower bound first", "range")
    return Value(quantity=Quantity(low, swept or "1")), Value(quantity=Quantity(high, swept or "1"))


def _at_equal(entry: Any, where: str) -> AtEqual | None:
    if entry is None:
        return None
    held = reading_channel(entry["channel"], f"{where}.channel")
    return AtEqual(held.name, parse_value(entry["value"], f"{where}.value", held.unit), entry["slope"])


def _exercised(entry: Any, where: str) -> Exercised | None:
    if entry is None:
        return None
    held = reading_channel(entry["channel"], f"{where}.channel")
    by = parse_value(entry["by"], f"{where}.by", held.unit)
    if by.quantity is not None and by.quantity.difference_in(held.unit) <= 0.0:
        raise InputError("a condition that is always met is none", f"{where}.by", "above zero", "range")
    return Exercised(held.name, by, _must(entry["more"]), _must(entry["less"]))


def _per(entry: Any, where: str, symbol: str) -> Per | None:
    if entry is None:
        return None
    held = reading_channel(entry["channel"], f"{where}.channel")
    rate = parse(entry["rate"], f"{where}.rate")
    wanted = f"{symbol}/{held.unit.replace('degC', 'K')}"
    if wanted in UNITS:
        rate.to(wanted, f"{where}.rate")
    elif rate.unit != "1":
        raise InputError(
            f"{rate.unit!r} is not {wanted}",
            f"{where}.rate",
            f"write a bare number: it is in {wanted}",
            "unit",
        )
    if rate.value <= 0.0:
        raise InputError(
            "a rate must be above zero", f"{where}.rate", "say how much a unit is worth, above zero", "range"
        )
    return Per(held.name, rate)


def _event(entry: Mapping[str, Any], where: str) -> Event:
    seen = reading_channel(entry["channel"], f"{where}.channel", states="state" in entry)
    kinds = [k for k in ("crosses", "fraction", "state") if k in entry]
    if len(kinds) != 1:
        raise InputError("an event has one of crosses, fraction, state", where, "keep one of them", "event")
    if kinds == ["fraction"] and "between" not in entry:
        raise InputError(
            "a fraction is of the change between two readings",
            f"{where}.between",
            "add between = ['FIRST', 'SECOND'], with the names of two readings",
            "event",
        )
    if kinds == ["crosses"] and "direction" not in entry:
        raise InputError(
            "a crossing is rising or falling", f"{where}.direction", "add direction = 'rising' or 'falling'", "event"
        )
    for key, kind in (("between", "fraction"), ("direction", "crosses")):
        if key in entry and kinds != [kind]:
            raise InputError(f"{key} belongs to {kind}", f"{where}.{key}", "remove it", "event")
    if kinds == ["state"]:
        state_index(seen.name, entry["state"], f"{where}.state")
    return Event(
        entry["name"],
        seen.name,
        entry.get("direction", ""),
        parse_value(entry["crosses"], f"{where}.crosses", seen.unit) if "crosses" in entry else None,
        entry.get("fraction"),
        _pair(entry.get("between")),
        entry.get("state", ""),
    )
