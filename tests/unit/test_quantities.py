"""Units, conversions and the reading of quantities as people write them."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest

from leverproof.errors import InputError
from leverproof.quantities import UNITS, Quantity, convert, convert_difference, parse, unit

# The names by which the independent library knows our symbols.
PINT = {
    "1": "dimensionless", "%": "percent", "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal",
    "bar": "bar", "mbar": "millibar", "inHg": "inch_Hg", "mmHg": "mmHg", "psi": "psi",
    "rad/s": "radian/second", "rpm": "revolution/minute", "W": "watt", "kW": "kilowatt",
    "hp": "horsepower", "N.m": "newton*meter", "lbf.ft": "foot*pound_force", "kg/s": "kilogram/second",
    "g/s": "gram/second", "kg/h": "kilogram/hour", "lb/h": "pound/hour", "lb/s": "pound/second",
    "K": "kelvin", "degC": "degC", "degF": "degF", "m": "meter", "km": "kilometer", "ft": "foot",
    "in": "inch", "m/s": "meter/second", "km/h": "kilometer/hour", "kt": "knot", "ft/min": "foot/minute",
    "s": "second", "min": "minute", "h": "hour", "rad": "radian", "deg": "degree", "kg": "kilogram",
    "lb": "pound", "1/s": "1/second", "1/min": "1/minute", "inHg/s": "inch_Hg/second",
    "cm2": "centimeter**2", "in2": "inch**2", "m3": "meter**3", "l": "liter",
    "cm3": "centimeter**3", "in3": "inch**3",
    "hp/inHg": "horsepower/inch_Hg", "hp/K": "horsepower/kelvin", "m2": "meter**2", "ft2": "foot**2",
}  # fmt: skip
# Conventional mercury is known to seven figures, and the two tables round it apart.
TOLERANCE = {"inHg": 2e-6, "mmHg": 2e-6, "inHg/s": 2e-6, "hp/inHg": 2e-6}
BASE = {
    "ratio": "1", "pressure": "Pa", "angular speed": "rad/s", "power": "W", "torque": "N.m",
    "mass flow": "kg/s", "temperature": "K", "length": "m", "speed": "m/s", "volume": "m**3", "time": "s",
    "angle": "rad",
    "mass": "kg", "area": "m**2", "rate": "1/s", "pressure rate": "Pa/s", "power per pressure": "W/Pa",
    "power per temperature": "W/K",
}  # fmt: skip
SYMBOLS = sorted(UNITS)
PAIRS = [(a, b) for a in SYMBOLS for b in SYMBOLS if UNITS[a].dimension == UNITS[b].dimension]
LIBRARY: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_every_unit_is_known_to_the_independent_library() -> None:
    assert set(PINT) == set(UNITS)
    assert {found.dimension for found in UNITS.values()} == set(BASE)


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_a_table_entry_agrees_with_the_library_as_absolute_value(symbol: str) -> None:
    ours = UNITS[symbol]
    base = LIBRARY.Unit(BASE[ours.dimension].replace("N.m", "N*m"))
    theirs = LIBRARY.Quantity(37.5, PINT[symbol]).to(base).magnitude
    assert 37.5 * ours.scale + ours.offset == pytest.approx(theirs, rel=TOLERANCE.get(symbol, 1e-12))


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_a_table_entry_agrees_with_the_library_as_difference(symbol: str) -> None:
    ours = UNITS[symbol]
    name = f"delta_{symbol}" if symbol in ("degC", "degF") else PINT[symbol]
    base = LIBRARY.Unit(BASE[ours.dimension].replace("N.m", "N*m"))
    theirs = LIBRARY.Quantity(37.5, name).to(base).magnitude
    assert 37.5 * ours.scale == pytest.approx(theirs, rel=TOLERANCE.get(symbol, 1e-12))


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_both_conversions_agree_with_the_library(a: str, b: str) -> None:
    rel = max(TOLERANCE.get(a, 1e-12), TOLERANCE.get(b, 1e-12))
    absolute = LIBRARY.Quantity(12.25, PINT[a]).to(PINT[b]).magnitude
    assert convert(12.25, a, b) == pytest.approx(absolute, rel=rel, abs=1e-12)
    da, db = (f"delta_{s}" if s in ("degC", "degF") else PINT[s] for s in (a, b))
    difference = LIBRARY.Quantity(12.25, da).to(db).magnitude
    assert convert_difference(12.25, a, b) == pytest.approx(difference, rel=rel)


def test_five_degrees_are_two_different_things() -> None:
    assert convert(5.0, "degC", "degF") == pytest.approx(41.0)
    assert convert_difference(5.0, "degC", "degF") == pytest.approx(9.0)
    assert convert(5.0, "degC", "K") == pytest.approx(278.15)
    assert convert_difference(5.0, "degC", "K") == pytest.approx(5.0)
    assert Quantity(5.0, "degC").to("degF") == pytest.approx(41.0)
    assert Quantity(5.0, "degC").difference_in("degF") == pytest.approx(9.0)
    assert convert(-40.0, "degC", "degF") == pytest.approx(-40.0)


def test_converting_there_and_back_changes_nothing() -> None:
    from hypothesis import given, settings
    from hypothesis import strategies as st

    @settings(max_examples=150, deadline=None, database=None, derandomize=True)
    @given(st.sampled_from(PAIRS), st.floats(-1e6, 1e6))
    def there_and_back(pair: tuple[str, str], number: float) -> None:
        a, b = pair
        # The offsets of temperature cost a few hundred units in the last place of the number.
        assert convert(convert(number, a, b), b, a) == pytest.approx(number, rel=1e-12, abs=1e-9)
        assert convert_difference(convert_difference(number, a, b), b, a) == pytest.approx(number, rel=1e-12)

    there_and_back()


def test_exact_definitions_are_exact() -> None:
    pound_force = Fraction("0.45359237") * Fraction("9.80665")
    assert UNITS["psi"].scale == pytest.approx(float(pound_force / Fraction("0.0254") ** 2), rel=1e-15)
    assert UNITS["hp"].scale == pytest.approx(float(550 * Fraction("0.3048") * pound_force), rel=1e-15)
    assert UNITS["kt"].scale == pytest.approx(1852.0 / 3600.0, rel=1e-15)
    assert UNITS["rpm"].scale == pytest.approx(math.tau / 60.0, rel=1e-15)
    assert convert(29.92, "inHg", "hPa") == pytest.approx(1013.2, abs=0.05)


@pytest.mark.parametrize("change", [convert, convert_difference])
def test_a_wrong_dimension_is_refused_with_its_place(change: object) -> None:
    with pytest.raises(InputError) as caught:
        change(52.0, "inHg", "rpm", "case.toml: run[0]")  # type: ignore[operator]
    assert caught.value.code == "dimension"
    assert caught.value.where == "case.toml: run[0]"
    assert "pressure" in str(caught.value) and "angular speed" in str(caught.value)


@pytest.mark.parametrize(
    ("written", "meant"), [("inHG", "inHg"), ("RPM", "rpm"), ("degc", "degC"), ("ftt", "ft"), ("psia", "psi")]
)
def test_an_unknown_unit_suggests_the_nearest(written: str, meant: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(f"12 {written}", "sheet.toml: limits")
    assert caught.value.code == "unit"
    assert caught.value.where == "sheet.toml: limits"
    assert meant in caught.value.hint


@pytest.mark.parametrize(
    ("text", "value", "symbol"),
    [
        ("52 inHg", 52.0, "inHg"),
        ("  52inHg ", 52.0, "inHg"),
        ("-14.72 degC", -14.72, "degC"),
        ("+.5", 0.5, "1"),
        ("2.", 2.0, "1"),
        ("18_250 rpm", 18250.0, "rpm"),
        ("1e3 Pa", 1000.0, "Pa"),
        ("1.2E-3 kg/s", 0.0012, "kg/s"),
        ("40 %", 40.0, "%"),
        (0.3, 0.3, "1"),
        (3, 3.0, "1"),
    ],
)
def test_quantities_are_read_as_written(text: object, value: float, symbol: str) -> None:
    assert parse(text) == Quantity(value, symbol)


@pytest.mark.parametrize("text", [True, False, None, [], {}, b"52 inHg", (1,), 1 + 2j])
def test_things_that_are_not_quantities_are_refused(text: object) -> None:
    with pytest.raises(InputError) as caught:
        parse(text, "here")
    assert caught.value.code == "quantity" and caught.value.where == "here"


@pytest.mark.parametrize(
    "text",
    ["nan inHg", "NaN", "inf rpm", "-inf", "Infinity Pa", "1e999 Pa", float("nan"), float("inf"), -math.inf],
)
def test_numbers_that_are_not_finite_are_refused(text: object) -> None:
    with pytest.raises(InputError):
        parse(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "inHg",
        "52 52",
        "1,000 rpm",
        "--5 K",
        "5 m m",
        "0x10 Pa",
        "5 inHg; rm",
        "1e Pa",
        "1 2 Pa",
        "__1",
    ],
)
def test_text_that_is_no_number_with_a_unit_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse(text)


def test_any_text_ends_in_a_finite_quantity_or_a_refusal() -> None:
    from hypothesis import given, settings
    from hypothesis import strategies as st

    numbers = st.floats().map(repr)
    texts = st.one_of(st.text(max_size=12), st.tuples(numbers, st.sampled_from(SYMBOLS)).map(" ".join))

    @settings(max_examples=200, deadline=None, database=None, derandomize=True)
    @given(texts)
    def reads_or_refuses(text: str) -> None:
        try:
            quantity = parse(text)
        except InputError:
            return
        assert math.isfinite(quantity.value) and quantity.unit in UNITS

    reads_or_refuses()


def test_a_number_too_large_for_a_float_is_refused() -> None:
    with pytest.raises(InputError):
        parse(10**400)


def test_a_quantity_is_shown_as_it_is_written() -> None:
    assert str(Quantity(52.0, "inHg")) == "52 inHg"
    assert str(Quantity(0.3, "1")) == "0.3"
    assert parse(str(Quantity(18250.0, "rpm"))) == Quantity(18250.0, "rpm")


def test_a_symbol_finds_its_unit() -> None:
    assert unit("inHg").dimension == "pressure"


def test_a_number_without_a_unit_is_called_that() -> None:
    with pytest.raises(InputError, match="a number without a unit is a ratio, expected pressure such as 'inHg'"):
        parse("52").to("inHg")
