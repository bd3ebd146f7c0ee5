"""Numbers with units: parsing, converting, refusing the wrong dimension.

Two conversions exist on purpose, because a *difference* of 5 degC is 9 degF while a *temperature* of 5 degC is
41 degF: :func:`convert` for absolute values, :func:`convert_difference` for differences and tolerances.
Factors: NIST SP 811 (2008) appendix B; inHg is the conventional inch of mercury, 3,386.389 Pa (32 degF).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from leverproof.errors import InputError, nearest


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by dimension: SI value = scale * number + offset."""

    symbol: str
    dimension: str
    scale: float
    offset: float = 0.0


_INHG = 3386.389
_LBF = 4.4482216152605
_FT = 0.3048
_HP = 550.0 * _FT * _LBF
_LB = 0.45359237
_RPM = 2.0 * math.pi / 60.0

UNITS: dict[str, Unit] = {
    u.symbol: u
    for u in (
        Unit("1", "ratio", 1.0),
        Unit("%", "ratio", 0.01),
        Unit("Pa", "pressure", 1.0),
        Unit("hPa", "pressure", 100.0),
        Unit("kPa", "pressure", 1000.0),
        Unit("bar", "pressure", 1.0e5),
        Unit("mbar", "pressure", 100.0),
        Unit("inHg", "pressure", _INHG),
        Unit("mmHg", "pressure", _INHG / 25.4),
        Unit("psi", "pressure", _LBF / 0.0254**2),
        Unit("rad/s", "angular speed", 1.0),
        Unit("rpm", "angular speed", _RPM),
        Unit("W", "power", 1.0),
        Unit("kW", "power", 1000.0),
        Unit("hp", "power", _HP),
        Unit("N.m", "torque", 1.0),
        Unit("lbf.ft", "torque", _LBF * _FT),
        Unit("kg/s", "mass flow", 1.0),
        Unit("g/s", "mass flow", 0.001),
        Unit("kg/h", "mass flow", 1.0 / 3600.0),
        Unit("lb/h", "mass flow", _LB / 3600.0),
        Unit("lb/s", "mass flow", _LB),
        Unit("K", "temperature", 1.0),
        Unit("degC", "temperature", 1.0, 273.15),
        Unit("degF", "temperature", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
        Unit("m", "length", 1.0),
        Unit("km", "length", 1000.0),
        Unit("ft", "length", _FT),
        Unit("in", "length", 0.0254),
        Unit("m2", "area", 1.0),
        Unit("cm2", "area", 1.0e-4),
        Unit("in2", "area", 0.0254**2),
        Unit("ft2", "area", _FT**2),
        Unit("m3", "volume", 1.0),
        Unit("l", "volume", 0.001),
        Unit("cm3", "volume", 1.0e-6),
        Unit("in3", "volume", 0.0254**3),
        Unit("m/s", "speed", 1.0),
        Unit("km/h", "speed", 1.0 / 3.6),
        Unit("kt", "speed", 1852.0 / 3600.0),
        Unit("ft/min", "speed", _FT / 60.0),
        Unit("s", "time", 1.0),
        Unit("min", "time", 60.0),
        Unit("h", "time", 3600.0),
        Unit("rad", "angle", 1.0),
        Unit("deg", "angle", math.pi / 180.0),
        Unit("kg", "mass", 1.0),
        Unit("lb", "mass", _LB),
        Unit("1/s", "rate", 1.0),
        Unit("1/min", "rate", 1.0 / 60.0),
        Unit("inHg/s", "pressure rate", _INHG),
        Unit("hp/inHg", "power per pressure", _HP / _INHG),
        Unit("hp/K", "power per temperature", _HP),
    )
}


def unit(symbol: str, where: str = "") -> Unit:
    """The unit of a symbol; raises :class:`InputError` naming the nearest known symbol."""
    found = UNITS.get(symbol)
    if found is None:
        raise InputError(f"unknown unit {symbol!r}", where, nearest(symbol, UNITS), "unit")
    return found


def _pair(from_symbol: str, to_symbol: str, where: str) -> tuple[Unit, Unit]:
    a, b = unit(from_symbol, where), unit(to_symbol, where)
    if a.dimension != b.dimension:
        found = f"{from_symbol!r} is a unit of {a.dimension}"
        if from_symbol == "1":
            found = "a number without a unit is a ratio"
        raise InputError(
            f"{found}, expected {b.dimension} such as {to_symbol!r}",
            where,
            "write the number in a unit of the right dimension",
            "dimension",
        )
    return a, b


def convert(value: float, from_symbol: str, to_symbol: str, where: str = "") -> float:
    """An absolute value in another unit of the same dimension."""
    if from_symbol == to_symbol:
        return value
    a, b = _pair(from_symbol, to_symbol, where)
    return (value * a.scale + a.offset - b.offset) / b.scale


def convert_difference(value: float, from_symbol: str, to_symbol: str, where: str = "") -> float:
    """A difference or a tolerance in another unit of the same dimension."""
    if from_symbol == to_symbol:
        return value
    a, b = _pair(from_symbol, to_symbol, where)
    return value * a.scale / b.scale


@dataclass(frozen=True, slots=True)
class Quantity:
    """A finite number and its unit, as written."""

    value: float
    unit: str

    def to(self, symbol: str, where: str = "") -> float:
        """The number in ``symbol``, as an absolute value."""
        return convert(self.value, self.unit, symbol, where)

    def difference_in(self, symbol: str, where: str = "") -> float:
        """The number in ``symbol``, as a difference or tolerance."""
        return convert_difference(self.value, self.unit, symbol, where)

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}" if self.unit != "1" else f"{self.value:g}"


_TEXT = re.compile(r"^\s*([-+]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*$")


def parse(text: object, where: str = "") -> Quantity:
    """``"52 inHg"`` or a bare number (a ratio) as a quantity.

    Raises :class:`InputError` for anything that is not a finite number with a known unit.
    """
    if isinstance(text, bool) or not isinstance(text, int | float | str):
        raise InputError(
            f"expected a quantity such as '52 inHg', found {text!r}", where, "put it in quotes", "quantity"
        )
    if isinstance(text, int | float):
        try:
            number, symbol = float(text), "1"
        except OverflowError:
            number, symbol = math.inf, "1"
    else:
        match = _TEXT.match(text) if len(text) <= 100 else None
        if match is None:
            raise InputError(
                f"cannot read {text[:100]!r} as a number with a unit",
                where,
                "write for example '52 inHg'",
                "quantity",
            )
        number, symbol = float(match.group(1).replace("_", "")), match.group(2) or "1"
    if not math.isfinite(number):
        raise InputError(f"{text!r} is not a finite number", where, "write a number such as '52 inHg'", "quantity")
    unit(symbol, where)
    return Quantity(number, symbol)
