"""Tolerances: lenient of two, and what a percentage is of."""

from __future__ import annotations

from typing import Any

import pytest

from leverproof.cases.model import Value
from leverproof.errors import InputError
from leverproof.judge.tolerance import Basis, allowance


@pytest.mark.parametrize(("at", "limit"), [(2.0, 0.25), (3.0, 0.30)])
def test_the_less_restrictive_of_two_applies_and_is_named(make: Any, at: float, limit: float) -> None:
    found = allowance(make.tolerance("0.25 s", 10.0), Basis("s", at, 1.0))
    assert found.value == pytest.approx(limit)
    assert found.text.startswith("0.25 s" if at == 2.0 else "10 % of the expected value 3 s = 0.3 s")
    assert "less restrictive than" in found.text


def test_a_percentage_says_what_it_is_of(make: Any) -> None:
    of_range = allowance(make.tolerance(percent=5.0, of="range"), Basis("hp", 800.0, 2500.0, "brake_power"))
    assert (of_range.value, "range of brake power 2,500 hp" in of_range.text) == (125.0, True)
    rated = Basis("hp", 800.0, 2500.0, "brake_power", 2000.0)
    of_value = allowance(make.tolerance(percent=5.0, of=Value(sheet="takeoff.brake_power")), rated)
    assert (of_value.value, "takeoff.brake_power" in of_value.text) == (100.0, True)
    banded = allowance(make.tolerance(percent=5.0, of=Value(predicted="power.takeoff", part="half_band")), rated)
    assert (banded.value, "the predictor's half band 2,000 hp" in banded.text) == (100.0, True)


def test_temperature_tolerances_are_differences(make: Any) -> None:
    assert allowance(make.tolerance("9 degF"), Basis("degC", 20.0, 100.0)).value == pytest.approx(5.0)


def test_a_percentage_of_a_negative_value_is_positive(make: Any) -> None:
    assert allowance(make.tolerance(percent=10.0), Basis("degC", -20.0, 100.0)).value == pytest.approx(2.0)


def test_no_default_tolerance(make: Any) -> None:
    with pytest.raises(ValueError, match="neither"):
        allowance(make.tolerance(), Basis("s", 1.0, 1.0))
    with pytest.raises(ValueError, match="not resolved"):
        allowance(make.tolerance(percent=5.0, of=Value(sheet="takeoff.brake_power")), Basis("hp", 1.0, 1.0))
    with pytest.raises(InputError):
        allowance(make.tolerance("1 hp"), Basis("inHg", 1.0, 1.0))
