"""What the cases of air, run-up, torque, fuel, ram, altitude and steadiness find of the older defects.

They add to the lists of :mod:`.expected_findings`, with the meaning of those.
"""

from __future__ import annotations

FURTHER_SURE: dict[str, tuple[str, ...]] = {
    # A chart of pressure knows neither cooler air nor less back pressure at the higher field.
    "power-from-manifold-pressure-and-rpm-only": ("field-barometric-run-up",),
    "geared-power-from-a-chart": ("field-barometric-run-up",),
    # The colder charge of the higher field is not denser.
    "charge-temperature-ignored": ("field-barometric-run-up",),
    # A gate half open lets the turbo press on the deck with the boost lever back.
    "boost-as-second-throttle": ("ram-by-the-square",),
    "boost-without-exhaust": ("turbo-needs-exhaust",),
    # The rule of thumb gives 30.92 inHg at -1,000 ft.
    "inch-per-thousand-feet": ("below-sea-level",),
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
    # Boost that is never out of breath keeps the turbo working harder: a hotter charge.
    "no-critical-altitude": ("power-held-below-critical",),
}
