"""Which required cases of the levers' trade each defect is expected to fail, with the physical reason.

``TRADE_SURE`` and ``TRADE_BORDERLINE`` add to the lists of :mod:`.expected_findings`; the meaning of the two is the
same. First the defects of :mod:`.trade_defects`, written down before their first run; then what these cases find of
the older defects.
"""

from __future__ import annotations

TRADE_SURE: dict[str, tuple[str, ...]] = {
    # The half second falls in the middle of a burst of throttle.
    "runs-on-while-paused": ("pause-in-the-middle",),
    # The lever does nothing where these cases move it a little.
    "throttle-dead-travel": (
        "below-governing-range",
        "throttle-travel",
    ),
    # A throttle that has been wide open does not come back to where it was.
    "throttle-slips-on-its-shaft": (
        "power-up-and-down",
        "slam-and-chop",
        "throttle-both-ways",
    ),
    "windmilling-without-pumping": ("windmilling-pressure",),
    "gate-dead-travel": ("boost-lever-steps",),
    "gate-slips-on-its-shaft": ("boost-both-ways",),
    # The gate stands still, so the turbo speeds up with height, and nothing knows its limit.
    "speed-servo-missing": (
        "turbo-limit-kept",
        "turbo-speed-in-the-climb",
    ),
    # The integral part built up during the spin-up has to be run down by an error the other way.
    "servo-winds-up": ("boost-step-settles",),
    # The turbo is at work where throttle alone should be.
    "coordination-together": (
        "coordination-below-the-boost",
        "coordination-order",
    ),
    # Eight degrees more blade against a leak of 0.06/s need 4 rad/s of error.
    "governor-leaks": ("rpm-against-airspeed",),
    "governor-valve-overlaps": ("rpm-both-ways",),
    # The ten degrees of a lever step take half a minute, and a burst of power overspeeds meanwhile.
    "slow-blades": (
        "go-around",
        "governor-recovers",
        "rpm-lever-response",
    ),
    # Idle speed is rated speed, also on the ground, and nothing has inertia.
    "rpm-from-lever-alone": (
        "below-governing-range",
        "idle-speed",
        "rpm-lever-response",
    ),
    "clutch-grabs": ("gear-shift-steady",),
    "high-gear-sticks": ("gear-shift-and-back",),
    "richer-is-stronger": ("full-rich-no-gain",),
    # At 20,000 ft the mixture is outside the combustible range.
    "fuel-by-outside-density": (
        "fuel-compensated",
        "unsupercharged-altitude-power",
    ),
    "metering-half-compensated": ("fuel-compensated",),
    "exhaust-heat-ignores-mixture": ("exhaust-temperature-by-mixture",),
    # A charge some 60 K colder weighs a sixth more at one pressure.
    "geared-stage-little-heat": (
        "climb-power",
        "geared-stage-heats",
        "maximum-continuous-power",
        "take-off-boost-back",
    ),
    # Nothing to cool, no limit to meet, no heat to tell the lever orders apart.
    "turbo-compresses-cold": (
        "boost-ahead",
        "charge-limit-sooner-together",
        "compression-heats",
        "shutter-fixed-levers",
        "shutter-fixed-pressure",
        "shutter-part-way",
        "split-lever-advantage",
    ),
    # A hot day no longer costs pressure ratio, only flow.
    "wheel-maps-uncorrected": ("hot-day-turbo-speed",),
    "shutter-two-position": ("shutter-part-way",),
    "cooler-colder-than-air": ("cooler-no-colder-than-outside",),
    "manifold-fills-slowly": (
        "slam-and-chop",
        "throttle-step-pressure",
    ),
    "light-without-hysteresis": ("light-does-not-chatter",),
    "deck-setting-follows-throttle": ("deck-pressure-held",),
    # Manifold pressure stays up until the wound-up part has been run down; nothing holds the turbo at its limit.
    "deck-controller-winds-up": (
        "automatic-critical-altitude",
        "automatic-gate-slam",
        "automatic-waste-gate",
    ),
    "gate-opens-slowly": ("boost-back-in-time",),
    "heat-flap-sticks": ("carburettor-heat-off-again",),
    "shutter-heats-by-itself": ("shutter-without-boost",),
    # What these cases find of the older defects.
    # Neither gate nor turbo answers the lever; the throttle does, at once.
    "boost-as-second-throttle": (
        "boost-lever-steps",
        "bootstrapping",
        "charge-limit-sooner-together",
        "hot-day-turbo-speed",
        "slam-with-boost-on",
    ),
    # The turbo does not need the exhaust, so it neither waits for it nor loses it, and cannot be driven far.
    "boost-without-exhaust": (
        "bootstrapping",
        "charge-limit-sooner-together",
        "hot-day-turbo-speed",
        "slam-with-boost-on",
        "turbo-speed-in-the-climb",
    ),
    # The gate raises no back pressure.
    "back-pressure-ambient": ("boost-lever-steps",),
    # Without inertia the turbo is there before the charge is hot, stops with the throttle and waits for nothing.
    "instant-turbo": (
        "boost-step-settles",
        "slam-with-boost-on",
        "turbo-outlasts-the-throttle",
    ),
    # The light does not know the turbo.
    "light-from-lever": ("light-does-not-chatter",),
    # A burst of power leaves the speed lower.
    "governor-droop": ("governor-recovers",),
    # A burst of power leaves the speed lower.
    "geared-set-governor-droop": ("governor-recovers",),
    # Blades that stand hold no speed and reach none that is asked.
    "fixed-pitch": (
        "bootstrapping",
        "fuel-compensated",
        "geared-stage-heats",
        "governor-recovers",
        "hot-day-turbo-speed",
        "rpm-against-airspeed",
        "rpm-lever-response",
    ),
    # Nothing is ever steady where the propeller governs.
    "governor-hunts": (
        "boost-back-in-time",
        "boost-both-ways",
        "boost-lever-steps",
        "boost-step-settles",
        "bootstrapping",
        "charge-limit-sooner-together",
        "compression-heats",
        "cooler-no-colder-than-outside",
        "exhaust-temperature-by-mixture",
        "fuel-compensated",
        "full-rich-no-gain",
        "geared-stage-heats",
        "go-around",
        "governor-recovers",
        "hot-day-turbo-speed",
        "light-does-not-chatter",
        "pause-in-the-middle",
        "rpm-against-airspeed",
        "rpm-both-ways",
        "rpm-lever-response",
        "shutter-part-way",
        "shutter-without-boost",
        "slam-with-boost-on",
        "throttle-both-ways",
        "throttle-step-pressure",
        "throttle-travel",
        "turbo-outlasts-the-throttle",
        "turbo-speed-in-the-climb",
        "windmilling-pressure",
    ),
    # Lean is rich and rich is lean.
    "mixture-order-swapped": (
        "exhaust-temperature-by-mixture",
        "full-rich-no-gain",
    ),
    # What is no richer is no cooler and burns no more.
    "full-rich-no-richer": (
        "exhaust-temperature-by-mixture",
        "full-rich-no-gain",
    ),
    # The turbo knows neither rpm, height nor inertia.
    "turbo-speed-proportional-to-lever": (
        "bootstrapping",
        "slam-with-boost-on",
        "turbo-outlasts-the-throttle",
        "turbo-speed-in-the-climb",
    ),
    # No part of its travel does anything.
    "shutter-disconnected": ("shutter-part-way",),
    # The boost never comes.
    "coordination-disconnected": ("coordination-order",),
    # The gauge is found to be a copy of the deck pressure's.
    "back-pressure-gauge-at-the-deck": ("boost-lever-steps",),
    # It is shown opening while it shuts.
    "gate-shown-inverted": ("boost-lever-steps",),
    # High gear is low gear.
    "blower-gear-disconnected": ("gear-shift-and-back",),
    # Heat costs no power at one pressure.
    "geared-power-from-a-chart": ("heat-at-one-pressure",),
    # Heat costs no power at one pressure.
    "carburettor-heat-for-nothing": ("heat-at-one-pressure",),
    # No heat, no cost.
    "carburettor-heat-disconnected": ("heat-at-one-pressure",),
    # Fuel follows power, whatever the mixture lever and the air drawn in say.
    "one-specific-consumption": (
        "fuel-compensated",
        "full-rich-no-gain",
    ),
    # The turbo never breathes the hot air.
    "hot-day-not-breathed": ("hot-day-turbo-speed",),
    # Opening the throttle from idle lets the leak go, and the pressure shown falls.
    "gauge-leaks-at-idle": ("throttle-travel",),
    # Full forward is least speed: little exhaust, and every change goes the other way.
    "propeller-lever-reversed": (
        "bootstrapping",
        "charge-limit-sooner-together",
        "governor-recovers",
        "hot-day-turbo-speed",
        "rpm-lever-response",
    ),
    # Fuel does not follow the charge, and a flooded engine leaves its turbo too little to hold the deck.
    "mixture-by-outside-density": (
        "deck-pressure-held",
        "fuel-compensated",
    ),
    # Once sucked open the door leaves another pressure behind.
    "alternate-air-door-latches": ("throttle-both-ways",),
}

TRADE_BORDERLINE: dict[str, tuple[str, ...]] = {
    # A computer that stops for half a second by itself while one of the two grid steps flies is a pause too.
    "runs-on-while-paused": (
        "half-grid-step",
        "transient-at-half-step",
    ),
    # The study of two steps is what it spoils, and that is the doubt of every reading.
    "frame-rate-dependent": ("boost-both-ways",),
    # In colder air the loop of wheel and gate hunts by some hundredths of an inch at little flow.
    "cold-compression": ("throttle-both-ways",),
    "deck-controller-winds-up": (
        "climb-power",
        "slam-and-chop",
        "temperature-exponent",
        "turbo-normalised-climb",
    ),
    # Whoever backs off by the boost lever waits for the gate.
    "gate-opens-slowly": (
        "back-off-order",
        "boost-both-ways",
        "cut-off-flight",
        "descent-with-boost-on",
        "overspeed-light",
        "power-up-and-down",
        "turbo-limit-passed",
    ),
    # It starts at nearly idle, where the rotor is slow to settle.
    "throttle-dead-travel": (
        "overspeed-light",
        "split-lever-size",
        "throttle-sweep",
    ),
    # The height is found between points, and less of the lever is left between them.
    "gate-dead-travel": (
        "boost-travel",
        "critical-altitude",
        "split-lever-size",
    ),
    "gate-slips-on-its-shaft": (
        "boost-travel",
        "critical-altitude",
        "split-lever-advantage",
        "split-lever-size",
        "throttle-sweep",
    ),
    "speed-servo-missing": (
        "boost-travel",
        "coordination-best",
        "critical-altitude",
        "pressure-above-critical",
        "split-lever-advantage",
        "split-lever-size",
        "throttle-sweep",
    ),
    "servo-winds-up": (
        "back-off-order",
        "boost-both-ways",
        "power-up-and-down",
        "split-lever-advantage",
        "split-lever-size",
        "throttle-sweep",
        "turbo-lag",
        "turbo-limit-kept",
    ),
    "coordination-together": ("coordination-best",),
    "governor-leaks": (
        "constant-speed-range",
        "take-off-boost-back",
    ),
    # Whoever seeks a speed with the propeller lever hunts in the overlap.
    "governor-valve-overlaps": (
        "boost-both-ways",
        "boost-travel",
        "climb-power",
        "constant-speed-range",
        "critical-altitude",
        "descent-with-boost-on",
        "full-throttle-height",
        "maximum-continuous-power",
        "power-held-below-critical",
        "rpm-against-airspeed",
        "split-lever-size",
        "take-off-boost-back",
        "throttle-both-ways",
        "two-minutes-at-each-rating",
    ),
    "slow-blades": (
        "half-grid-step",
        "slam-and-chop",
        "take-off-boost-back",
    ),
    # A speed that jumps differs from one step size to the next.
    "rpm-from-lever-alone": (
        "boost-at-idle",
        "slam-and-chop",
        "start-from-rest",
        "transient-at-half-step",
    ),
    "clutch-grabs": ("gear-shift-time",),
    "richer-is-stronger": (
        "climb-power",
        "maximum-continuous-power",
        "take-off-boost-back",
    ),
    # A hot day is a thin one, so it leans too.
    "fuel-by-outside-density": (
        "climb-power",
        "constant-pressure-climb",
        "temperature-exponent",
    ),
    "metering-half-compensated": (
        "constant-pressure-climb",
        "temperature-exponent",
        "unsupercharged-altitude-power",
    ),
    # Hotter exhaust drives the turbo harder at the same gate.
    "exhaust-heat-ignores-mixture": (
        "critical-altitude",
        "split-lever-advantage",
        "split-lever-size",
    ),
    "geared-stage-little-heat": (
        "full-throttle-height",
        "split-lever-size",
        "temperature-exponent",
    ),
    # Cold air needs less turbo speed for the same pressure.
    "turbo-compresses-cold": (
        "critical-altitude",
        "split-lever-size",
        "throttle-sweep",
    ),
    "wheel-maps-uncorrected": (
        "climb-power",
        "full-throttle-height",
        "shutter-fixed-pressure",
        "split-lever-size",
    ),
    # Charge so cold moves every pressure sought, and the heights found between points.
    "cooler-colder-than-air": (
        "boost-ahead",
        "critical-altitude",
        "shutter-fixed-pressure",
        "split-lever-advantage",
        "split-lever-size",
        "throttle-sweep",
    ),
    # Whoever seeks a pressure meets a slower gauge.
    "manifold-fills-slowly": (
        "cut-off-flight",
        "shutter-fixed-pressure",
        "split-lever-size",
    ),
    "light-without-hysteresis": ("overspeed-light",),
}
