"""Declared numbers held against laws that no engine evades: standard air, energy, the work of an impeller."""

from __future__ import annotations

import math

from leverproof.atmosphere import (
    GAS_CONSTANT,
    SEA_LEVEL_PRESSURE,
    pressure_at_feet,
    speed_of_sound,
    temperature_at_feet,
)
from leverproof.physics.relations.compression import pressure_ratio_of_head
from leverproof.quantities import convert
from leverproof.sheet.checks.remark import CONTRADICTION, WARNING, Remark, Remarks, doubt, number, shown
from leverproof.sheet.model import EngineSheet

FUEL_HEAT = 43.5e6
"""J/kg, lower heating value of aviation petrol; the least that ASTM D910 allows a grade."""
CORRECT_MIXTURE = 0.067
"""Fuel over air by mass at which the air is just used up (NACA Report 189 puts best power a little richer)."""
BEST_FILLING = 1.25
"""Charge drawn in over swept volume at manifold pressure and 288 K that no engine of the kind exceeds (assumption)."""
USUAL_FUEL = (0.36, 0.95)
"""lb/hp.h from lean cruise to rich take-off (common practice, no published source)."""
CLIMB_AIRSPEED = {"light": 100.0, "heavy": 150.0}
"""True airspeed in kt of a climb by service, where heights are stated for one (assumption)."""
_RATINGS = ("takeoff", "maximum_continuous", "climb", "cruise")
_STANDARD = "U.S. Standard Atmosphere, 1976"
_EULER = (
    "Euler's turbine equation with radial blades, no slip and no loss: work at most tip speed squared; "
    "isentropic perfect gas"
)
_INHG = convert(1.0, "inHg", "Pa")
_AIR_RATIO = 1.4


def check_outside_air(sheet: EngineSheet) -> Remarks:
    """Without a supercharger no pressure is above the air outside, ram included."""
    if sheet.word("hardware.arrangement") != "unsupercharged":
        return
    outside = SEA_LEVEL_PRESSURE / _INHG
    for rating in _RATINGS:
        path = f"{rating}.manifold_pressure"
        held = number(sheet, path)
        if held is not None and rating in ("takeoff", "maximum_continuous") and held - doubt(sheet, path) > outside:
            yield Remark(
                "outside air",
                CONTRADICTION,
                path,
                "an unsupercharged engine cannot hold more than the outside air",
                f"{shown(sheet, path)} against {outside:.2f} inHg at sea level, standing",
                _STANDARD,
            )
    height, held = number(sheet, "climb.full_throttle_height"), number(sheet, "climb.manifold_pressure")
    if height is None or held is None:
        return
    low = height - doubt(sheet, "climb.full_throttle_height")
    there, ram = _static_and_ram(sheet, low)
    if held - doubt(sheet, "climb.manifold_pressure") > there * ram:
        reached = f"{there:.2f} x {ram:.3f} = {there * ram:.2f} inHg at {low:g} ft"
        told = f"{shown(sheet, 'climb.manifold_pressure')} against {reached}"
        yield Remark(
            "outside air",
            CONTRADICTION,
            "climb.full_throttle_height",
            "climb pressure is above the outside air with all its ram at full-throttle height",
            told,
            f"{_STANDARD}; isentropic stagnation",
        )


def _static_and_ram(sheet: EngineSheet, height: float) -> tuple[float, float]:
    """Static pressure in inHg at a height in ft, and the most that ram makes of it at climb airspeed."""
    warmth = float(temperature_at_feet(height))
    speed = convert(CLIMB_AIRSPEED.get(sheet.word("hardware.service"), 150.0), "kt", "m/s")
    mach = speed / float(speed_of_sound(warmth))
    return float(pressure_at_feet(height)) / _INHG, (1.0 + 0.2 * mach**2) ** 3.5


def check_impeller(sheet: EngineSheet) -> Remarks:
    """Full-throttle height and take-off pressure against what the geared wheel can do at its tip speed."""
    wheel, ratio = number(sheet, "geared_stage.wheel_diameter"), number(sheet, "geared_stage.ratio")
    if wheel is None or ratio is None:
        return
    asked = [("climb", number(sheet, "climb.full_throttle_height"), "climb.full_throttle_height", True)]
    if sheet.word("hardware.takeoff_boost") in ("back", "none"):
        asked.append(("takeoff", 0.0, "takeoff.manifold_pressure", False))
    for rating, height, path, flying in asked:
        held, speed = number(sheet, f"{rating}.manifold_pressure"), number(sheet, f"{rating}.engine_speed")
        if height is None or held is None or speed is None:
            continue
        there, ram = _static_and_ram(sheet, height)
        need = held / (there * (ram if flying else 1.0))
        tip = math.pi * convert(wheel, "in", "m") * ratio * speed / 60.0
        warmth = float(temperature_at_feet(height))
        best = float(pressure_ratio_of_head(1.0, warmth, tip))
        if need > best:
            told = (
                f"needed {held:g} / ({there:.2f} x {ram if flying else 1.0:.3f}) = {need:.2f}; tip speed "
                f"pi x {wheel:g} in x {ratio:g} x {speed:g} rpm = {tip:.0f} m/s allows at most {best:.2f} "
                f"at {height:g} ft"
            )
            words = f"{path} asks more of the geared stage than its wheel can do in this gear"
            yield Remark("gear and wheel", CONTRADICTION, path, words, told, _EULER)


def check_tip_speeds(sheet: EngineSheet) -> Remarks:
    """Tip speeds of both wheels and the propeller against what holds together or makes sense."""
    speed = number(sheet, "takeoff.engine_speed")
    wheels = [("turbo.wheel_diameter", number(sheet, "limits.turbo_speed"), 1.0, (150.0, 600.0))]
    for key in ("ratio", "ratio_high"):
        wheels.append(
            (
                "geared_stage.wheel_diameter",
                speed,
                number(sheet, f"geared_stage.{key}") or 0.0,
                (120.0, 450.0),
            )
        )
    wheels.append(("propeller.diameter", speed, number(sheet, "propeller.reduction") or 0.0, (100.0, 340.0)))
    for path, turning, ratio, (low, high) in wheels:
        size = number(sheet, path)
        if size is None or turning is None or ratio <= 0.0:
            continue
        tip = math.pi * convert(size, "in", "m") * ratio * turning / 60.0
        if not low <= tip <= high:
            told = f"pi x {size:g} in x {ratio:g} x {turning:g} rpm = {tip:.0f} m/s; usual {low:g} to {high:g} m/s"
            yield Remark(
                "tip speed",
                WARNING,
                path,
                "the tip speed is unusual: a size, a ratio or the rpm may be wrong",
                told,
                "common practice of light-alloy wheels and of propellers, no published source",
            )


def check_fuel(sheet: EngineSheet) -> Remarks:
    """Power against fuel flow: no more work than the ideal cycle gets out of the fuel, and the usual consumption."""
    squeeze = number(sheet, "geometry.compression_ratio") or 12.0
    ideal = 1.0 - squeeze ** (1.0 - _AIR_RATIO)
    for rating in _RATINGS:
        power, flow = number(sheet, f"{rating}.brake_power"), number(sheet, f"{rating}.fuel_flow")
        if power is None or flow is None:
            continue
        share = convert(power, "hp", "W") / (convert(flow, "lb/h", "kg/s") * FUEL_HEAT)
        per = flow / power
        path = f"{rating}.fuel_flow"
        if share > ideal:
            told = (
                f"{power:g} hp from {flow:g} lb/h at {FUEL_HEAT / 1e6:g} MJ/kg is {share:.2f} of its heat; ideal cycle "
                f"at compression {squeeze:g}: {ideal:.2f}"
            )
            yield Remark(
                "power and fuel",
                CONTRADICTION,
                path,
                "more power than an ideal engine gets from this fuel",
                told,
                "air-standard Otto cycle; heating value by ASTM D910",
            )
        elif not USUAL_FUEL[0] <= per <= USUAL_FUEL[1]:
            told = f"{flow:g} lb/h / {power:g} hp = {per:.2f} lb/hp.h; usual {USUAL_FUEL[0]:g} to {USUAL_FUEL[1]:g}"
            yield Remark(
                "power and fuel",
                WARNING,
                path,
                "the specific fuel consumption is unusual",
                told,
                "common practice, no published source",
            )


def check_power(sheet: EngineSheet) -> Remarks:
    """Power against the air that the cylinders can draw in at that pressure and rpm."""
    size = number(sheet, "geometry.displacement")
    squeeze = number(sheet, "geometry.compression_ratio") or 12.0
    if size is None:
        return
    ideal = 1.0 - squeeze ** (1.0 - _AIR_RATIO)
    for rating in ("takeoff", "maximum_continuous", "climb"):
        power, held = number(sheet, f"{rating}.brake_power"), number(sheet, f"{rating}.manifold_pressure")
        speed = number(sheet, f"{rating}.engine_speed")
        if power is None or held is None or speed is None:
            continue
        swept = convert(size, "in3", "m3") * speed / 120.0
        air = BEST_FILLING * held * _INHG / (GAS_CONSTANT * 288.15) * swept
        most = convert(air * CORRECT_MIXTURE * FUEL_HEAT * ideal, "W", "hp")
        mean = convert(power, "hp", "W") / swept / (held * _INHG)
        path = f"{rating}.brake_power"
        told = (
            f"{size:g} in3 at {speed:g} rpm and {held:g} inHg draw at most {convert(air, 'kg/s', 'lb/h'):.0f} lb/h "
            f"of air, worth {most:.0f} hp in an ideal cycle at compression {squeeze:g}"
        )
        if power - doubt(sheet, path) > most:
            yield Remark(
                "power and air",
                CONTRADICTION,
                path,
                "more power than the air drawn in can give",
                told,
                "air-standard Otto cycle, NACA Report 189 for the mixture; filling at most 1.25: assumption",
            )
        elif not 5.0 <= mean <= 13.0:
            told = f"brake mean effective pressure is {mean:.1f} x manifold pressure; usual 5 to 13"
            yield Remark(
                "power and air",
                WARNING,
                path,
                "the power is unusual for this displacement, pressure and rpm",
                told,
                "common practice, no published source",
            )
