"""Whether a tolerance leaves a judgement something to demand."""

from __future__ import annotations

from leverproof.cases.model import Judgement, Step
from leverproof.channels import CHANNELS, Channel
from leverproof.errors import InputError
from leverproof.quantities import UNITS, Quantity

_IN_ITS_UNIT = ("value", "limit", "difference", "trend")
_HELD = ("expected", "at_most", "at_least")
WHOLE = 100.0
"""Per cent: a wider tolerance lets pass even what is not there."""


def check_tolerance(judgement: Judgement, where: str) -> None:
    """Raises :class:`InputError` for a tolerance wider than what it is a tolerance of, or a percentage of nothing.

    A value of zero has no width to compare with, nor has a temperature, whose zero is a convention."""
    tolerance = judgement.tolerance
    if tolerance is None:
        return
    alone = tolerance.absolute is None
    if tolerance.percent is not None and tolerance.of == "expected":
        expected = judgement.expected
        stated = expected.quantity if expected is not None else None
        if stated is not None and stated.value == 0.0:
            raise InputError("a percentage of zero is nothing", f"{where}.tolerance.of", "give absolute", "range")
    whole = tolerance.percent is not None and tolerance.percent > WHOLE and tolerance.of in ("expected", "range")
    if alone and whole:
        raise InputError(
            f"{tolerance.percent:g} % of it is wider than the {tolerance.of} itself",
            f"{where}.tolerance.percent",
            "not even zero would fail: narrow it",
            "range",
        )
    if tolerance.absolute is None:
        return
    _check_range(judgement, tolerance.absolute, f"{where}.tolerance.absolute")
    for key in _HELD:
        value = getattr(judgement, key)
        if value is None or value.quantity is None or value.quantity.value == 0.0:
            continue
        unit = value.quantity.unit
        if UNITS[unit].dimension == "temperature":
            continue
        if tolerance.absolute.difference_in(unit) > abs(value.quantity.value):
            raise InputError(
                f"a tolerance of {tolerance.absolute} is wider than the value of {value.quantity}",
                f"{where}.tolerance.absolute",
                "not even zero would fail: narrow it",
                "range",
            )


def read_in_its_unit(judgement: Judgement) -> Channel | None:
    """The channel whose readings a judgement compares as they are, in its own unit; None where there is none such."""
    channel = CHANNELS.get(judgement.channel)
    if channel is None or channel.kind != "reading" or channel.states or judgement.what not in _IN_ITS_UNIT:
        return None
    return None if judgement.relative_to is not None or judgement.by else channel


def _check_range(judgement: Judgement, tolerance: Quantity, where: str) -> None:
    """What is expected may be zero, or a temperature: a tolerance is then held against all the channel ever reads."""
    channel = read_in_its_unit(judgement)
    if channel is not None and tolerance.difference_in(channel.unit, where) > channel.span:
        raise InputError(
            f"a tolerance of {tolerance} is wider than the whole range of {channel.name}, "
            f"{Quantity(channel.span, channel.unit)}",
            where,
            "nothing would fail: narrow it",
            "range",
        )


def check_bounds(judgement: Judgement, where: str) -> None:
    """Raises :class:`InputError` for a bound that lies where no engine's reading, or difference of two, ever is."""
    channel = read_in_its_unit(judgement)
    if channel is None or judgement.per is not None or judgement.what not in ("limit", "difference"):
        return
    least, most = channel.farthest
    between_two = judgement.what == "difference" or bool(judgement.change_from)
    if between_two:
        least, most = least - most, most - least
    for key, side in (("at_least", -1.0), ("at_most", 1.0)):
        value = getattr(judgement, key)
        stated = value.quantity if value is not None else None
        if stated is None:
            continue
        at, farthest = f"{where}.{key}", most if side > 0.0 else least
        number = stated.difference_in(channel.unit, at) if between_two else stated.to(channel.unit, at)
        if side * number > side * farthest:
            words = "no difference of two readings" if between_two else "no reading"
            raise InputError(
                f"{words} of {channel.name} is {'above' if side > 0.0 else 'below'} "
                f"{Quantity(farthest, channel.unit)}, so {key.replace('_', ' ')} {stated} cannot fail",
                at,
                "demand what a wrong engine would miss, or remove the judgement",
                "range",
            )


def check_seek_width(step: Step, where: str) -> None:
    """Raises :class:`InputError` for a seek that is reached wherever the channel is, as far as the file shows it."""
    value = step.value.quantity if step.value is not None else None
    if step.within is None or value is None:
        return
    symbol = CHANNELS[step.channel].unit
    refuse_wide_seek(step.within, value.to(symbol), symbol, f"{where}.within")


def refuse_wide_seek(within: Quantity, value: float, symbol: str, where: str = "") -> None:
    """Raises :class:`InputError` for an accuracy as wide as the ``value`` in ``symbol`` that is sought; nothing is wide
    beside zero, nor beside a temperature, whose zero is a convention."""
    if value == 0.0 or UNITS[symbol].dimension == "temperature" or within.difference_in(symbol) < abs(value):
        return
    raise InputError(
        f"an accuracy of {within} is as wide as the value of {Quantity(value, symbol)}",
        where,
        "the seek would be reached at once: narrow it",
        "range",
    )
