"""Resolving what a case asks for into numbers, before the run: sheet data, sweep variables, standard atmosphere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from leverproof import atmosphere
from leverproof.cases.history_demands import history_unit
from leverproof.cases.model import Judgement, Step, Value
from leverproof.cases.values import setting_number
from leverproof.channels import CHANNELS, position
from leverproof.conduct.model import Expected
from leverproof.conduct.predictions import Predictions, predicted
from leverproof.errors import InputError
from leverproof.physics.relations.altitude_power import full_throttle_power_ratio
from leverproof.quantities import Quantity, convert, convert_difference
from leverproof.sheet.model import EngineSheet

_STANDARD_SOURCES = {
    "ambient_pressure": "U.S. Standard Atmosphere, 1976",
    "ambient_temperature": "U.S. Standard Atmosphere, 1976",
    "unsupercharged_power_ratio": "Gagg and Farrar, SAE Transactions 29 (1934) 217-223",
}


@dataclass(frozen=True)
class Scope:
    """What values are resolved in: the sheet, the point's sweep variable, the run's surroundings (canonical) and the
    predictions made so far."""

    sheet: EngineSheet
    sweep: dict[str, Quantity]
    surroundings: Mapping[str, float]
    predictions: Predictions = field(default_factory=Predictions)


def resolve(value: Value, scope: Scope, symbol: str, *, lever: str = "", where: str = "") -> Expected:
    """A value in ``symbol``. A sheet datum brings its source and doubt; ``lever`` is needed for a named position.

    Raises :class:`InputError` for a datum the sheet lacks; the planner asks :func:`missing_data` first."""
    if value.word:
        return Expected(position(lever, value.word, where), 0.0)
    if value.sweep:
        return Expected(scope.sweep[value.sweep].to(symbol, where), 0.0)
    if value.standard:
        return Expected(_standard(value.standard, scope, symbol), 0.0, _STANDARD_SOURCES[value.standard])
    if value.predicted:
        told = scope.predictions.of(scope.sheet, value.predicted, scope.surroundings)
        return predicted(value, told, symbol, where)
    if value.sheet:
        return _from_sheet(value, scope.sheet, symbol, where)
    if value.quantity is None:
        raise InputError("an empty value", where, code="value")
    return Expected(value.quantity.to(symbol, where), 0.0)


def setting(name: str, value: Value, scope: Scope, where: str = "") -> float:
    """What a lever or surrounding is set to, in its unit; a temperature offset is a difference."""
    if value.quantity is not None:
        return setting_number(name, value.quantity, where)
    return resolve(value, scope, CHANNELS[name].unit, lever=name, where=where).value


def difference(value: Value, scope: Scope, symbol: str, where: str = "") -> Expected:
    """A value that is a difference or an amount, in ``symbol``."""
    if value.quantity is not None:
        return Expected(value.quantity.difference_in(symbol, where), 0.0)
    return resolve(value, scope, symbol, where=where)


def _from_sheet(value: Value, sheet: EngineSheet, symbol: str, where: str) -> Expected:
    datum = sheet.number(value.sheet)
    if datum is None or isinstance(datum.value, str):
        raise InputError(f"the sheet does not give {value.sheet}", where, "add the datum", "missing")
    number = convert(datum.value * value.times, datum.unit, symbol, where)
    if value.plus is not None:
        number += value.plus.difference_in(symbol, where)
    doubt = datum.doubt
    if doubt is not None:
        doubt = convert_difference(doubt * abs(value.times), datum.unit, symbol, where)
    return Expected(number, doubt, datum.source, datum.from_model)


def _standard(name: str, scope: Scope, symbol: str) -> float:
    height = scope.surroundings["pressure_altitude"]
    if name == "ambient_pressure":
        return convert(float(atmosphere.pressure_at_feet(height)), "Pa", symbol)
    offset = scope.surroundings["temperature_offset"]
    if name == "unsupercharged_power_ratio":
        return float(
            full_throttle_power_ratio(atmosphere.density_at_feet(height, offset) / atmosphere.density_at_feet(0.0))
        )
    return convert(float(atmosphere.temperature_at_feet(height, offset)), "K", symbol)


def values_of_step(step: Step) -> Iterator[Value]:
    """Every value a step holds."""
    yield from step.levers.values()
    yield from step.guard.values()
    if step.value is not None:
        yield step.value


def values_of_judgement(judgement: Judgement) -> Iterator[Value]:
    """Every value a judgement holds."""
    for key in ("expected", "at_most", "at_least", "at", "least_step"):
        value = getattr(judgement, key)
        if isinstance(value, Value):
            yield value
    if judgement.tolerance and isinstance(judgement.tolerance.of, Value):
        yield judgement.tolerance.of
    if judgement.at_equal:
        yield judgement.at_equal.value
    if judgement.exercised:
        yield judgement.exercised.by
    for event in judgement.events:
        if event.crosses:
            yield event.crosses


def missing_data(values: Iterator[Value], sheet: EngineSheet) -> str:
    """The first datum among ``values`` that the sheet does not give, or ""."""
    return next((v.sheet for v in values if v.sheet and sheet.number(v.sheet) is None), "")


def judged_channels(judgement: Judgement) -> tuple[str, ...]:
    """The readings a judgement looks at."""
    names = [judgement.channel, judgement.by]
    if judgement.at_equal:
        names.append(judgement.at_equal.channel)
    if judgement.exercised:
        names.append(judgement.exercised.channel)
    if judgement.per:
        names.append(judgement.per.channel)
    if judgement.one_charge_temperature:
        names.append("carburettor_air_temperature")
    if judgement.what == "level_speed":
        names.append("engine_speed")
    if judgement.what == "identity":
        names += ["brake_power", "torque", "engine_speed"]
    if judgement.table:
        names.append("turbo_speed")
    names += [event.channel for event in judgement.events]
    return tuple(dict.fromkeys(n for n in names if n))


def resolved_judgement(judgement: Judgement, scope: Scope) -> dict[str, Expected]:
    """The numbers of a judgement at one point, in the unit it is judged in (see :class:`conduct.model.Point`)."""
    symbol = judged_unit(judgement, scope.sweep[judgement.over].unit if judgement.over else "1")
    out: dict[str, Expected] = {}
    differs = judgement.what in ("difference", "trend", "level_speed") or bool(judgement.change_from)
    for key in ("expected", "at_most", "at_least", "least_step"):
        value = getattr(judgement, key)
        if value is not None:
            whole = resolve(value, scope, symbol, lever=judgement.channel) if not differs else None
            out[key] = whole if whole is not None else difference(value, scope, symbol)
    if judgement.at is not None:
        out["at"] = resolve(judgement.at, scope, CHANNELS[judgement.channel].unit)
    if judgement.tolerance and isinstance(judgement.tolerance.of, Value):
        out["tolerance_of"] = difference(judgement.tolerance.of, scope, symbol)
        if judgement.tolerance.of.predicted and "expected" in out:
            # the tolerance is the prediction's own doubt, which must not count twice
            out["expected"] = replace(out["expected"], doubt=0.0)
    if judgement.at_equal:
        held = CHANNELS[judgement.at_equal.channel]
        out["at_equal"] = resolve(judgement.at_equal.value, scope, held.unit)
    if judgement.exercised:
        out["exercised"] = difference(judgement.exercised.by, scope, CHANNELS[judgement.exercised.channel].unit)
    if judgement.span:
        for key, bound in zip(("low", "high"), judgement.span, strict=True):
            out[key] = resolve(bound, scope, bound.quantity.unit if bound.quantity else symbol)
    for event in judgement.events:
        if event.crosses:
            out[f"event:{event.name}"] = resolve(event.crosses, scope, CHANNELS[event.channel].unit)
    if judgement.table:
        for key in ("blinking_above", "off_above", "on_above", "hysteresis"):
            datum = scope.sheet.number(f"light.{key}")
            if datum is not None and not isinstance(datum.value, str):
                out[key] = Expected(datum.value, datum.doubt, datum.source, datum.from_model)
    return out


def judged_unit(judgement: Judgement, swept: str = "ft") -> str:
    """Unit in which a judgement's numbers are compared; ``swept`` is that of the sweep variable."""
    if judgement.what == "response":
        return "s"
    if judgement.what == "history":
        return history_unit(judgement)
    if judgement.what == "level_speed":
        return "kt"
    if judgement.what == "crossing":
        return swept
    relative = judgement.relative_to or judgement.by
    if judgement.what in ("exponent", "identity", "grid_step", "same", "unmoved") or relative:
        return "1"
    return CHANNELS[judgement.channel].unit if judgement.channel else "1"
