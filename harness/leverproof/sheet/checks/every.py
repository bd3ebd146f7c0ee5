"""All checks of a sheet, in the order they are told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from leverproof.sheet.checks.hardware import check_hardware
from leverproof.sheet.checks.laws import (
    check_fuel,
    check_impeller,
    check_outside_air,
    check_power,
    check_tip_speeds,
)
from leverproof.sheet.checks.predicted import check_predicted
from leverproof.sheet.checks.ranges import check_ranges
from leverproof.sheet.checks.ratings import check_light, check_order, check_speeds_asked
from leverproof.sheet.checks.remark import CONTRADICTION, Remark, Remarks
from leverproof.sheet.model import EngineSheet
from leverproof.toml_file import line_of

CHECKS: tuple[Callable[[EngineSheet], Remarks], ...] = (
    check_ranges,
    check_hardware,
    check_order,
    check_light,
    check_speeds_asked,
    check_outside_air,
    check_power,
    check_fuel,
    check_impeller,
    check_tip_speeds,
)


def check_sheet(sheet: EngineSheet) -> tuple[Remark, ...]:
    """Every remark on a sheet that has been loaded, contradictions first, each with the line of its datum.

    The predictor is asked only where nothing contradicts: its answers would rest on the contradiction."""
    found = [remark for check in CHECKS for remark in check(sheet)]
    if not any(remark.kind == CONTRADICTION for remark in found):
        found += check_predicted(sheet)
    found.sort(key=lambda remark: remark.kind != CONTRADICTION)
    return tuple(replace(remark, line=line_of(sheet.text, remark.path.split("."))) for remark in found)
