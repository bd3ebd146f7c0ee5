"""Whether each number lies where such a number can lie at all."""

from __future__ import annotations

from leverproof.sheet.checks.remark import CONTRADICTION, WARNING, Remark, Remarks, shown
from leverproof.sheet.model import EngineSheet

_PRESSURE = (5.0, 150.0)
_SPEED = (200.0, 6_000.0)
_POWER = (5.0, 6_000.0)
_FLOW = (2.0, 4_000.0)
_MINUTES = (0.5, 120.0)
USUAL: dict[str, tuple[float, float]] = {
    **{
        f"{rating}.{key}": span
        for rating in ("takeoff", "maximum_continuous", "climb", "cruise")
        for key, span in (
            ("manifold_pressure", _PRESSURE),
            ("engine_speed", _SPEED),
            ("brake_power", _POWER),
            ("fuel_flow", _FLOW),
            ("minutes", _MINUTES),
        )
    },
    "climb.full_throttle_height": (-1_000.0, 50_000.0),
    "idle.engine_speed": (200.0, 2_000.0),
    "limits.turbo_speed": (3_000.0, 250_000.0),
    "limits.turbo_speed_tolerance": (0.001, 0.1),
    "limits.carburettor_air_temperature": (-20.0, 200.0),
    "light.hysteresis": (1.0, 5_000.0),
    "link.above": (0.0, 30_000.0),
    "response.takeoff_time": (0.2, 60.0),
    "geometry.displacement": (10.0, 10_000.0),
    "geometry.compression_ratio": (4.0, 16.0),
    "geared_stage.ratio": (2.0, 20.0),
    "geared_stage.ratio_high": (2.0, 20.0),
    "geared_stage.wheel_diameter": (2.0, 30.0),
    "turbo.wheel_diameter": (1.0, 30.0),
    "turbo.nozzle_area": (0.1, 200.0),
    "turbo.gate_area": (0.1, 300.0),
    "carburettor.throttle_area": (0.2, 300.0),
    "lever_law.throttle_exponent": (0.2, 6.0),
    "lever_law.gate_exponent": (0.2, 8.0),
    "lever_law.speed_exponent": (0.2, 6.0),
    "airframe.wing_area": (20.0, 20_000.0),
    "airframe.zero_lift_drag": (0.005, 0.2),
    "airframe.induced_drag_factor": (0.01, 0.3),
    "airframe.mass": (200.0, 1_000_000.0),
    "airframe.engines": (1.0, 8.0),
    "propeller.diameter": (20.0, 300.0),
    "propeller.reduction": (0.2, 1.0),
    "propeller.solidity": (0.01, 0.5),
    "propeller.section_drag": (0.002, 0.1),
    "propeller.induced_factor": (1.0, 2.0),
}
"""Lowest and highest value, in the unit it is kept in, that no piston engine or aeroplane is known to leave (wide of
everything flown; assumption)."""

BOUNDS: dict[str, tuple[float, float, str]] = {
    "geometry.compression_ratio": (
        1.0,
        1e9,
        "a cylinder at its largest over the same at its smallest is above 1",
    ),
    "intercooler.effectiveness": (
        0.0,
        1.0,
        "a cooler cannot cool below its coolant: effectiveness is at most 1",
    ),
    "limits.turbo_speed_tolerance": (0.0, 1.0, "a tolerance as wide as the limit holds nothing"),
    "propeller.induced_factor": (
        1.0,
        1e9,
        "no propeller loses less than the ideal one: the factor is at least 1",
    ),
    "limits.carburettor_air_temperature": (-273.15, 1e9, "no temperature is below absolute zero"),
}
"""What a number cannot be by its definition."""


def check_ranges(sheet: EngineSheet) -> Remarks:
    """Numbers outside what they can be, or usually are, and doubts as large as the number."""
    for path, datum in sheet.data.items():
        if isinstance(datum.value, str):
            continue
        low, high, law = BOUNDS.get(path, (-1e9, 1e9, ""))
        if not low <= datum.value <= high:
            words = f"{path} cannot be {shown(sheet, path)}"
            yield Remark("ranges", CONTRADICTION, path, words, f"allowed: {low:g} to {high:g}", law)
            continue
        usual = USUAL.get(path)
        if usual and not usual[0] <= datum.value <= usual[1]:
            words = f"{path} is {shown(sheet, path)}: is the unit right?"
            told = f"usual: {usual[0]:g} to {usual[1]:g} {datum.unit if datum.unit != '1' else ''}".rstrip()
            yield Remark("ranges", WARNING, path, words, told, "wide of everything flown; assumption")
        if datum.doubt is not None and datum.unit not in ("degC", "ft") and datum.doubt >= abs(datum.value):
            words = f"the doubt of {path} is as large as the number: it decides nothing"
            yield Remark("ranges", CONTRADICTION, path, words, shown(sheet, path), "definition of U95")
