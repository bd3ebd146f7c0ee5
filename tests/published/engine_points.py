"""Steady points of the embedded reference engine that a published statement speaks of."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from leverproof.channels import READINGS
from leverproof.stand.port import Array, StandFile, Start
from leverproof_adapters.reference_engine import open_stand
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.cylinder import mixture_strength
from leverproof_adapters.reference_engine.parameters import SETS

EARLY = "corrie-18-early"
STEP = 1800
"""Ticks: 0.05 s."""
LEAN, RICH = 1.0, 2.0


class Lanes:
    """Lanes of the engine with levers that jump; ``lanes["brake_power"]`` is the last reading of each."""

    def __init__(self, count: int, *, engine: str = "running", **levers: float | list[float]) -> None:
        stand = StandFile(path="stand.toml", title="", kind="reference_engine", target=EARLY)
        self.session = open_stand(stand, defect=None)
        self.inputs = [s.name for s in self.session.hello().inputs]
        self.levers = np.zeros((count, len(self.inputs)))
        self.set(**{"propeller": 1.0, "mixture": RICH, "intercooler_shutter": 1.0, **levers})
        starts = [Start(engine, tuple(row)) for row in self.levers]
        self.last: Array = self.session.initialise(starts, STEP, self.inputs, READINGS)

    def set(self, **levers: float | list[float] | Array) -> None:
        """Puts levers or surroundings somewhere at once."""
        for name, value in levers.items():
            self.levers[:, self.inputs.index(name)] = value

    def run(self, seconds: float) -> Lanes:
        """Runs with the levers where they are."""
        rows = np.repeat(self.levers[None], round(seconds * 36_000 / STEP), axis=0)
        self.last = self.session.advance(range(len(self.levers)), rows)[-1]
        return self

    def __getitem__(self, channel: str) -> Array:
        return self.last[:, READINGS.index(channel)].copy()

    def hold(self, pressure: float | Array, lever: str = "throttle", *, rounds: int = 12) -> Lanes:
        """Halves the interval of a lever until manifold pressure is ``pressure`` inHg in every lane."""
        low, high = np.zeros(len(self.levers)), np.ones(len(self.levers))
        for _ in range(rounds):
            middle = 0.5 * (low + high)
            self.set(**{lever: middle})
            self.run(6.0)
            above = self["manifold_pressure"] > pressure
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return self.run(12.0)


def _propeller(rpm: float) -> float:
    return (rpm / 2_640.0 - 0.6) / 0.4


@cache
def stopped_pressure(feet: float) -> float:
    """Manifold pressure in inHg, engine standing still."""
    return float(Lanes(1, engine="stopped", pressure_altitude=feet).run(2.0)["manifold_pressure"][0])


@cache
def idle_pressure() -> float:
    """Manifold pressure in inHg at idle, sea level."""
    return float(Lanes(1).run(40.0)["manifold_pressure"][0])


@cache
def temperature_exponent() -> float:
    """-d ln(power)/d ln(carburettor air temperature) at 36 inHg and one rpm, 40 K apart."""
    lanes = Lanes(
        2, propeller=_propeller(2_400.0), pressure_altitude=3_000.0, temperature_offset=[-20.0, 20.0]
    )
    power, air = lanes.hold(36.0)["brake_power"], lanes["carburettor_air_temperature"] + 273.15
    return -math.log(power[1] / power[0]) / math.log(air[1] / air[0])


@cache
def humidity_loss() -> float:
    """Per cent of brake power lost to 80 % humidity at 59 degF, sea level, one manifold pressure."""
    lanes = Lanes(2, propeller=_propeller(2_400.0), relative_humidity=[0.0, 0.8])
    power = lanes.hold(36.0)["brake_power"]
    return 100.0 * (1.0 - float(power[1] / power[0]))


@cache
def consumption() -> float:
    """Fuel per brake power in lb/(hp h) at the maximum continuous rating, auto rich, sea level."""
    lanes = Lanes(1, propeller=_propeller(2_550.0)).hold(45.0)
    return float(lanes["fuel_flow"][0] / lanes["brake_power"][0])


@cache
def cheap_over_dear() -> float:
    """Fuel per power at low rpm and high pressure over that at high rpm and the pressure of equal power."""
    pressures = np.array([30.0, 25.0, 29.0])
    lanes = Lanes(3, mixture=LEAN, pressure_altitude=5_000.0)
    lanes.set(propeller=np.array([_propeller(rpm) for rpm in (1_800.0, 2_400.0, 2_400.0)]))
    lanes.hold(pressures)
    power, fuel = lanes["brake_power"], lanes["fuel_flow"]
    assert power[1] < power[0] < power[2], f"the two dear points enclose the cheap one's power: {power}"
    share = (power[0] - power[1]) / (power[2] - power[1])
    return float(fuel[0] / (fuel[1] + share * (fuel[2] - fuel[1])))


@cache
def gate_steps() -> float:
    """The largest change of waste-gate opening from height to height, climb pressure held by boost, 13,000 to
    20,000 ft."""
    heights = [13_000.0, 14_000.0, 15_000.0, 17_000.0, 20_000.0]
    lanes = Lanes(
        5, throttle=1.0, propeller=_propeller(2_500.0), pressure_altitude=heights, true_airspeed=150.0
    )
    return float(np.diff(lanes.hold(39.5, "boost").run(20.0)["wastegate_opening"]).max())


def best_power_ratio() -> float:
    """Fuel-air ratio at which the engine's indicated work is most."""
    ratios = np.linspace(0.055, 0.11, 5_501)
    return float(ratios[np.argmax(mixture_strength(Coefficients(SETS[EARLY]), ratios))])
