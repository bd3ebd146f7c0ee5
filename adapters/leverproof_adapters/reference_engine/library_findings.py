"""What the cases of air, run-up, torque, fuel, ram, altitude and steadiness find of the older defects.

They add to the lists of :mod:`.expected_findings`, with the meaning of those.
"""

from __future__ import annotations

FURTHER_SURE: dict[str, tuple[str, ...]] = {
    # A chart of pressure knows neither cooler air nor less back pressure at the higher field.
    "power-from-manifold-pressure-and-rpm-only": ("field-barometric-run-up",),
    "geared-power-from-a-chart": (
        "field-barometric-run-up",
        "gear-shift-height",
    ),
    # The colder charge of the higher field is not denser.
    "charge-temperature-ignored": ("field-barometric-run-up",),
    # Neither pressure nor power of a chart needs a height to shift at; with no gear there is none.
    "blower-gear-disconnected": ("gear-shift-height",),
    # The higher gear is as good as the lower one as soon as the throttle is not wide open.
    "high-gear-for-nothing": ("gear-shift-height",),
    # Every day is a standard one to the intake.
    "thin-air-unfelt": ("full-throttle-on-a-high",),
    # A gate half open lets the turbo press on the deck with the boost lever back.
    "boost-as-second-throttle": ("ram-by-the-square",),
    "boost-without-exhaust": ("turbo-needs-exhaust",),
    # The rule of thumb gives 30.92 inHg at -1,000 ft.
    "inch-per-thousand-feet": (
        "air-through-a-climb",
        "below-sea-level",
    ),
    # Blades that stand still let rpm follow power, so that no setting by rpm is met.
    "fixed-pitch": (
        "blade-angle-by-height",
        "power-held-below-critical",
        "pressure-for-one-power",
        "specific-consumption",
        "torque-by-pressure",
        "two-minutes-at-each-rating",
    ),
    # Nothing that needs a steady engine can be read.
    "governor-hunts": (
        "blade-angle-by-height",
        "fixed-levers-on-a-high",
        "heads-follow-power",
        "idle-fuel-flow",
        "lean-saves-fuel",
        "path-of-the-levers",
        "power-held-below-critical",
        "pressure-for-one-power",
        "ram-by-the-square",
        "specific-consumption",
        "torque-by-pressure",
        "two-minutes-at-each-rating",
    ),
    # The lean position is the rich one.
    "mixture-order-swapped": ("specific-consumption",),
    "engine-off-manifold-pressure": ("stopped-engine-still",),
    "engine-off-manifold-pressure-low": ("stopped-engine-still",),
    # Pressure is not to be had at the height to which it should be held.
    "weak-geared-stage": ("power-held-below-critical",),
    "weak-geared-wheel": ("power-held-below-critical",),
    "starved-geared-wheel": ("power-held-below-critical",),
    "waste-gate-stuck": ("power-held-below-critical",),
    "waste-gate-by-gauge-pressure": ("power-held-below-critical",),
    "ram-beyond-recovery": ("ram-by-the-square",),
    # Half of the air at idle is half of the fuel.
    "idle-starved": ("idle-fuel-flow",),
    # Idling gives no power, so no fuel by it.
    "one-specific-consumption": ("idle-fuel-flow",),
}

FURTHER_BORDERLINE: dict[str, tuple[str, ...]] = {
    # The step study finds large differences, and with them doubt.
    "frame-rate-dependent": ("stopped-temperatures",),
    # The engine windmills in the slipstream, and hunts.
    "governor-hunts": ("airspeed-leaves-static", "field-barometric-run-up"),
    # Straight lines lie a tenth of an inch above the table in their middle, as much as the tube is wide.
    "air-between-few-points": ("air-through-a-climb",),
    # Low gear runs out of pressure elsewhere, or high gear costs its heat alone: the curves cross lower down.
    "weak-geared-wheel": ("gear-shift-height",),
    "starved-geared-wheel": ("gear-shift-height",),
    "two-speed-drive-for-nothing": ("gear-shift-height",),
    # Blades that stand still turn denser air into other rpm, and pressure behind the stage with it.
    "fixed-pitch": ("fixed-levers-on-a-high",),
    # Boost that is never out of breath keeps the turbo working harder: a hotter charge.
    "no-critical-altitude": ("power-held-below-critical",),
}
