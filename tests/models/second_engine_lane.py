"""One Corrie-22 in motion: curves looked up, first-order lags carried exactly over short sub-steps.

Nothing is iterated: each quantity runs towards the value its curve gives for the others as they are now, so
every settled state is the common solution of the curves. Units are the trade's; turbo speed in thousand rpm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import second_engine_tables as tb

PSI_PER_INHG = 0.4911541
TORQUE_UNIT = 5252.113  # rpm x lbf.ft in one hp
LINK_HEIGHT = 7000.0  # ft: the interlock refuses the link at and below it
LIGHT_ON, LIGHT_OFF = 20.0, 19.75  # thousand rpm
REGULATOR_LAG, GATE_LAG = 2.0, 0.3  # s
GOVERNOR_LAG, BLADE_LAG = 0.8, 0.15  # s
LAGS = {
    "lever": 0.1,
    "gas": 0.1,
    "manifold": 0.35,
    "fuel": 0.2,
    "air": 3.0,
    "exhaust": 1.2,
    "head": 12.0,
}  # s
SLOW = ("air", "exhaust", "head")


@dataclass(frozen=True, slots=True)
class Air:
    """Surroundings of one row: static pressure (inHg) and temperature (K), density ratio, pressure and
    temperature at the intake with ram, share of dry air by pressure, true airspeed (kt), height (ft)."""

    pressure: float
    temperature: float
    density: float
    intake_pressure: float
    intake_temperature: float
    dry: float
    airspeed: float
    height: float


@dataclass(frozen=True, slots=True)
class Levers:
    """Lever positions of one row; ``mixture`` is the index of its state, ``linked`` the link switch."""

    throttle: float
    boost: float
    propeller: float
    mixture: int
    shutter: float
    cowl: float
    linked: bool


@dataclass(frozen=True, slots=True)
class Steps:
    """A sub-step of ``h`` seconds; the rest are the shares of the way each lag goes in it."""

    h: float
    lever: float
    gas: float
    manifold: float
    fuel: float
    air: float
    exhaust: float
    head: float
    gate: float
    blade: float
    haste: float


def steps(h: float, haste: float = 1.0) -> Steps:
    """Sub-step of ``h`` s; ``haste`` shortens the slow lags (used only to begin near equilibrium)."""

    def share(lag: float) -> float:
        return 1.0 - math.exp(-h / lag)

    by_name = {n: share(lag / haste if n in SLOW else lag) for n, lag in LAGS.items()}
    return Steps(h, **by_name, gate=share(GATE_LAG), blade=share(BLADE_LAG), haste=haste)


def surroundings(height: float, offset: float, humidity: float, airspeed: float) -> Air:
    """Standard atmosphere of 1976 by pressure altitude (SFTE Reference Handbook 2013, ch. 3); the offset
    warms the air and leaves the pressure; ram after the same handbook, sec. 10.3."""
    theta = 1.0 - 6.8755856e-6 * min(height, 36089.24)
    delta = theta**5.255876
    if height > 36089.24:
        delta *= math.exp(-4.8063e-5 * (height - 36089.24))
    temperature = max(theta * 288.15 + offset, 150.0)
    pressure = 29.92126 * delta
    mach2 = (airspeed / 661.478) ** 2 * 288.15 / temperature
    ram = 1.0 + tb.RAM_RECOVERY * ((1.0 + 0.2 * mach2) ** 3.5 - 1.0)
    vapour = humidity * tb.saturation(temperature - 273.15)
    return Air(
        pressure,
        temperature,
        delta * 288.15 / temperature,
        pressure * ram,
        temperature * (1.0 + 0.2 * mach2),
        max(1.0 - vapour / pressure, 0.5),
        airspeed,
        height,
    )


class Lane:
    """State of one engine. ``advance`` goes one sub-step on; ``readings`` gives every reading by name."""

    def __init__(self, air: Air, levers: Levers, *, running: bool) -> None:
        self.air, self.running = air, running
        self.throttle = levers.throttle
        self.boost = self._boost_asked(air, levers)
        self.speed = (
            (tb.governed_speed(levers.propeller) if levers.throttle > 0.12 else 640.0) if running else 0.0
        )
        self.blade = tb.FINE_STOP
        self.turbo2 = 4.0 if running else 0.0  # (thousand rpm)^2
        self.gate = 0.5 if running else 1.0
        self.ratio_fuel = tb.METERING[levers.mixture](0.5) if running else 0.0
        self.manifold = self.deck = self.back = air.pressure
        self.deck_air = air.intake_temperature if running else air.temperature
        self.charge = self.deck_air
        self.exhaust = 1000.0 if running else air.temperature
        self.head = 430.0 if running else air.temperature
        self.flow = self.power = self.torque = 0.0
        self.light = False

    @staticmethod
    def _boost_asked(air: Air, levers: Levers) -> float:
        return levers.throttle if levers.linked and air.height > LINK_HEIGHT else levers.boost

    def advance(self, air: Air, levers: Levers, s: Steps) -> None:
        """One sub-step with these inputs."""
        self.air = air
        self.throttle += (levers.throttle - self.throttle) * s.lever
        self.boost += (self._boost_asked(air, levers) - self.boost) * s.lever
        self._induction(air, levers, s)
        self._turbo(air, s)
        self._crank(air, levers, s)
        self._temperatures(air, levers, s)

    def _induction(self, air: Air, levers: Levers, s: Steps) -> None:
        """Intake, exhaust-driven stage, throttle, geared stage, cylinders: pressures and air flow."""
        root = math.sqrt(air.intake_temperature / 288.15)
        loss = 0.0075 * (self.flow * root / air.intake_pressure * 10.0) ** 2
        self.duct = air.intake_pressure / (1.0 + loss)
        deck = self.duct * tb.turbo_ratio(math.sqrt(self.turbo2) / root)
        self.deck += (deck - self.deck) * s.gas
        relative = self.speed / tb.RATED_SPEED
        rise = tb.BLOWER_RISE * relative * relative
        blower = tb.blower_ratio(relative * math.sqrt(288.15 / (self.deck_air - 10.0)))
        self.charge = self.deck_air + rise - 270.0 * self.ratio_fuel * (rise / (rise + 15.0))
        filling = tb.charging(self.speed) * tb.residual(self.back / self.manifold)
        # standard air weighs 0.0765 lb/cu ft; a cool charge takes more heat from the walls: T^0.63 remains
        swept = tb.DISPLACEMENT / 1728.0 * self.speed / 120.0
        per_inhg = 0.076474 / 29.92126 * 288.15 / 370.0 * (370.0 / self.charge) ** 0.63 * swept * filling
        area = tb.throttle_area(self.throttle) * tb.THROTTLE_FULL
        swallowing = per_inhg * blower * math.sqrt(self.deck_air) / area
        self.manifold += (self.deck * blower * tb.throttle_ratio(swallowing) - self.manifold) * s.manifold
        self.flow = per_inhg * self.manifold
        asked = tb.METERING[levers.mixture](self.flow / tb.AIR_RATED) if self.speed > 0.0 else 0.0
        self.ratio_fuel += (asked - self.ratio_fuel) * s.fuel
        if asked == 0.0 and self.ratio_fuel < 1e-7:
            self.ratio_fuel = 0.0

    def _turbo(self, air: Air, s: Steps) -> None:
        """Waste gate set by the deck-pressure regulator and the speed governor; wheel speed by its energy."""
        through = self.flow * (1.0 + self.ratio_fuel)
        hot = math.sqrt(self.exhaust)
        shut = max(through * hot / (air.pressure * tb.NOZZLE_AREA), 1e-9)
        root2 = air.intake_temperature / 288.15
        need = tb.turbo_speed_for(tb.deck_demand(self.boost) / self.duct) ** 2 * root2
        need = min(need, tb.TURBO_LIMIT**2)
        load = tb.TURBO_WORK * self.flow + tb.TURBO_DRAG + tb.TURBO_BEARING / (1.0 + self.turbo2 / 2.25)
        wanted = max(load * self.turbo2 + tb.TURBO_INERTIA * (need - self.turbo2) / REGULATOR_LAG, 0.0)
        supply = max(through * 0.276 * 1.8 * 1.4149 * self.exhaust, 1e-9)
        left = tb.flow_for_drop(shut * wanted / supply)
        least = tb.NOZZLE_AREA / (tb.NOZZLE_AREA + tb.GATE_AREA)
        share = min(max(left / shut, least), 1.0)
        self.gate += ((tb.NOZZLE_AREA / share - tb.NOZZLE_AREA) / tb.GATE_AREA - self.gate) * s.gate
        share = tb.NOZZLE_AREA / (tb.NOZZLE_AREA + tb.GATE_AREA * self.gate)
        self.back += (air.pressure * tb.expansion_ratio(shut * share) - self.back) * s.gas
        turbine = supply * share * tb.turbine_drop(shut * share)
        pace = 1.0 - math.exp(-s.h * s.haste * load / tb.TURBO_INERTIA)
        self.turbo2 += (turbine / load - self.turbo2) * pace
        if self.turbo2 < 1e-12:
            self.turbo2 = 0.0
        speed = math.sqrt(self.turbo2)
        self.light = speed > (LIGHT_OFF if self.light else LIGHT_ON)

    def _crank(self, air: Air, levers: Levers, s: Steps) -> None:
        """Power, propeller with governor, crank speed. Once still the engine stays still: no starter."""
        if self.speed <= 0.0:
            self.speed = self.power = self.torque = 0.0
            self.blade += (tb.FINE_STOP - self.blade) * s.blade
            return
        relative = self.speed / tb.RATED_SPEED
        heat = (
            tb.INDICATED_WORK
            * self.flow
            * air.dry
            * tb.mixture_power(self.ratio_fuel)
            * tb.firing(self.speed)
        )
        psi = (self.manifold - self.back) * PSI_PER_INHG - tb.friction(self.speed)
        blower = self.flow * tb.TURBO_WORK / tb.TURBO_RISE * tb.BLOWER_RISE * relative**2 / 0.95
        self.power = heat + psi * tb.DISPLACEMENT * self.speed / 792000.0 - blower
        self.torque = self.power * TORQUE_UNIT / self.speed
        advance = air.airspeed / (self.speed * 0.0656)  # V / nD of a 13.3 ft propeller geared 0.5
        inflow = math.degrees(math.atan(advance / 2.356))
        unit = tb.PROPELLER_POWER * air.density * relative**3 * (1.0 + (advance / 2.356) ** 2)
        absorbed = unit * tb.propeller_load(self.blade - inflow)
        target = tb.governed_speed(levers.propeller) / tb.RATED_SPEED
        asked = self.power - tb.CRANK_INERTIA * relative * (target - relative) / GOVERNOR_LAG
        blade = inflow + tb.blade_for_load(asked / unit)
        self.blade += (min(max(blade, tb.FINE_STOP), tb.COARSE_STOP) - self.blade) * s.blade
        # backward step on the cubic load: the settled speed is exact whatever the sub-step
        pull = (self.power - absorbed) / (tb.CRANK_INERTIA * relative)
        stiff = 2.0 * abs(absorbed) / (tb.CRANK_INERTIA * relative * relative)
        relative += s.h * pull / (1.0 + s.h * stiff)
        self.speed = max(relative, 0.0) * tb.RATED_SPEED
        if self.speed < 5.0:
            self.speed = self.power = self.torque = 0.0

    def _temperatures(self, air: Air, levers: Levers, s: Steps) -> None:
        """Carburettor air behind the intercooler, exhaust, cylinder head."""
        behind = air.intake_temperature + tb.TURBO_RISE * self.turbo2
        crowded = 1.15 - 0.15 * self.flow / tb.AIR_RATED
        cooling = min(tb.shutter_cooling(levers.shutter) * tb.airspeed_cooling(air.airspeed) * crowded, 0.85)
        target = behind - cooling * (behind - air.intake_temperature)
        if self.speed <= 0.0:
            target = air.intake_temperature
        self.deck_air += (target - self.deck_air) * s.air
        burning = tb.firing(self.speed) if self.ratio_fuel > 0.04 else 0.0
        hot = tb.exhaust_heat(self.ratio_fuel) * tb.exhaust_load(self.flow / tb.AIR_RATED)
        cold = self.charge + 30.0 * min(self.speed / 500.0, 1.0)
        self.exhaust += (cold + burning * (max(hot, cold) - cold) - self.exhaust) * s.exhaust
        load = max(self.power, 0.0) / tb.PROPELLER_POWER
        head = (
            air.temperature
            + 60.0
            + 150.0 * load**0.6 / (tb.head_cooling(air.airspeed) * (0.75 + 0.4 * levers.cowl))
        )
        self.head += (air.temperature + (head - air.temperature) * burning - self.head) * s.head

    def readings(self) -> dict[str, float]:
        """Every reading in the trade's unit."""
        return {
            "manifold_pressure": self.manifold,
            "engine_speed": self.speed,
            "turbo_speed": 1000.0 * math.sqrt(self.turbo2),
            "brake_power": self.torque * self.speed / TORQUE_UNIT,
            "torque": self.torque,
            "fuel_flow": 3600.0 * self.flow * self.ratio_fuel,
            "carburettor_air_temperature": self.deck_air - 273.15,
            "carburettor_deck_pressure": self.deck,
            "exhaust_back_pressure": self.back,
            "manifold_temperature": self.charge - 273.15,
            "exhaust_gas_temperature": self.exhaust - 273.15,
            "cylinder_head_temperature": self.head - 273.15,
            "wastegate_opening": self.gate,
            "blade_angle": self.blade,
            "turbo_overspeed_light": 1.0 if self.light else 0.0,
            "throttle_position": self.throttle,
            "boost_position": self.boost,
            "ambient_pressure": self.air.pressure,
            "ambient_temperature": self.air.temperature - 273.15,
        }
