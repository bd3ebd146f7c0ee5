"""Wrong parts for seeded defects of levers, governors, mixture, gear, gate and cooler."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine import (
    arrangements,
    conditions,
    controls,
    cylinder,
    gas_path,
    propeller,
    shafts,
)
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.defect_parts import with_lever
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Part, Point, State

_SEA_LEVEL_DENSITY = 1.225
_SEA_LEVEL_TEMPERATURE = 288.15
_DEAD = 0.12
_WOUND_UP = 4.0


def throttle_dead_travel(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The first eighth of the throttle lever's travel takes up slack and moves nothing."""
    x = conditions.given(p, levers, air)
    x.throttle_asked = np.maximum(x.throttle_asked - _DEAD, 0.0) * (1.0 / (1.0 - _DEAD))
    return x


def throttle_slips(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Once beyond 70 % the throttle arm slips on its shaft, and comes back four hundredths short ever after.

    Built into sets without a gate servo, whose carried position remembers that it has slipped.
    """
    s.servo = np.where((s.servo > 0.9) | (s.throttle > 0.7), 1.0, s.servo)
    short = np.minimum(x.throttle_asked + 0.04 * (s.servo > 0.9), 1.0)
    controls.send(s, x, short, x.boost_asked)


def no_pumping_without_fire(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Without fuel the manifold stands at the pressure ahead of the throttle, however the engine turns."""
    gas_path.induction(p, s, levers, air, x)
    x.manifold_pressure = np.where(levers.mixture < 0.5, x.deck_pressure, x.manifold_pressure)


def governor_leaks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Oil leaks past the governor: blades away from 22 degrees creep back, and only a speed error holds them."""
    propeller.governor(p, s, levers, air, x, pace)
    s.blade = np.maximum(s.blade - (0.06 * pace.dt) * (s.blade - 22.0), p.fine_stop)


def governor_valve_overlaps(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The pilot valve has overlap: speed errors below 0.8 % of rated pass no oil either way."""
    asked = x.speed_asked
    overlap = 0.008 * p.rated_speed
    x.speed_asked = asked + np.minimum(np.maximum(s.crank - asked, -overlap), overlap)
    propeller.governor(p, s, levers, air, x, pace)
    x.speed_asked = asked


def speed_from_lever(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Engine speed goes to what the propeller lever asks in a tenth of a second, whatever the power."""
    shafts.crankshaft(p, s, levers, air, x, pace)
    share = np.minimum(pace.dt * 10.0, 1.0)
    s.crank = np.where(x.burn > 0.5, s.crank + share * (x.speed_asked - s.crank), s.crank)


def richer_is_stronger(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Work that goes on growing beyond best power, six tenths as fast as it should fall."""
    cylinder.work(p, s, levers, air, x)
    beyond = np.minimum(np.maximum(x.fuel_ratio / x.dry - p.best_power_ratio, 0.0), 0.04)
    fall = p.rich_root * p.rich_root * beyond * beyond
    x.indicated_torque = x.indicated_torque * (1.0 + 0.6 * fall) / (1.0 - fall)


def fuel_by_outside_density(exponent: float) -> Part:
    """A carburettor that leans with a power of the density outside, though the air it meters is denser."""

    def mixture(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
        cylinder.mixture(p, s, levers, air, x)
        x.fuel_ratio = x.fuel_ratio * (air.density * (1.0 / _SEA_LEVEL_DENSITY)) ** exponent
        x.fuel_flow = x.fuel_ratio * x.air_flow

    return mixture


def clutch_grabs(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """While the clutch slips it takes ten times the drive torque of the stage."""
    arrangements.two_speed_stage(p, s, levers, air, x)
    x.blower_torque = x.blower_torque * (1.0 + 36.0 * s.gear * (1.0 - s.gear))


def high_gear_sticks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """What has gone into high gear stays there."""
    before = s.gear.copy()
    controls.gear_clutch(p, s, levers, air, x, pace)
    s.gear = np.maximum(s.gear, before)


def geared_stage_little_heat(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage leaves three tenths of its work in the charge."""
    gas_path.geared_stage(p, s, levers, air, x)
    tip = p.blower_tip_radius * s.crank
    x.charge_temperature = x.charge_temperature - 0.7 * p.blower_work_heat * tip * tip


def gate_dead_travel(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The first eighth of the boost lever's travel takes up slack and moves no gate."""
    position = s.boost
    s.boost = np.maximum(position - _DEAD, 0.0) * (1.0 / (1.0 - _DEAD))
    controls.gate_lever(p, s, levers, air, x, pace)
    s.boost = position


def gate_slips(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Once beyond 35 % the gate's lever slips on its shaft, and the gate comes back four hundredths short.

    The carried servo position, unused in a set with a gate lever, remembers that it has slipped.
    """
    s.servo = np.where((s.servo > 0.9) | (s.boost > 0.35), 1.0, np.minimum(s.servo, 0.5))
    left = 1.0 - s.boost
    opening = left * (1.0 - p.gate_shape + p.gate_shape * left * left)
    short = np.maximum(opening - 0.04 * (s.servo > 0.9), 0.0)
    controls.approach(s.gate, short, pace.gate, s.room[0])


def gate_opens_slowly(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """A weak spring opens the gate: over a minute, though it shuts as it should."""
    before = s.gate.copy()
    controls.gate_lever(p, s, levers, air, x, pace)
    s.gate = np.minimum(s.gate, before + pace.dt * (1.0 / 60.0))


def _wound_up(s: State, proportional: Array, rate: Array, pace: Pace) -> None:
    """As :func:`.controls.servo_to_gate`, with an integral part that never gives way."""
    s.servo = np.minimum(np.maximum(s.servo + pace.dt * rate, 0.0), _WOUND_UP)
    closure = np.minimum(np.maximum(s.servo + proportional, 0.0), 1.0)
    controls.approach(s.gate, 1.0 - closure, pace.gate, s.room[0])


def servo_winds_up(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The speed servo's integral part goes on growing while the gate is already shut."""
    error = controls.speed_demand(p, s.boost) - s.turbo
    _wound_up(s, p.servo_gain * error, p.servo_rate * error, pace)


def deck_controller_winds_up(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The deck controller's integral part goes on growing while the gate is shut, and knows no turbo limit."""
    error = 1.0 - x.deck_pressure / p.deck_setting
    _wound_up(s, p.deck_gain * error, p.deck_rate * error, pace)


def deck_setting_follows_throttle(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The deck controller's setting falls by a tenth as the throttle closes."""
    felt = Point()
    felt.deck_pressure = x.deck_pressure * (1.0 / (0.9 + 0.1 * s.throttle))
    controls.automatic_gate(p, s, levers, air, felt, pace)


def turbo_compresses_cold(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The turbo's compressor raises pressure without heating the air."""
    gas_path.turbo_stage(p, s, levers, air, x)
    x.outlet_temperature = air.ram_temperature + 0.0


def _ratio_at_sea_level(ratio: Array, inlet: Array) -> Array:
    """The pressure ratio a wheel would give in air of the standard day at sea level."""
    rise = np.maximum(ratio, 0.1) ** (1.0 / 3.5) - 1.0
    return gas_path.pressure_ratio(1.0 + rise * inlet * (1.0 / _SEA_LEVEL_TEMPERATURE))


def turbo_map_uncorrected(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The turbo's pressure ratio read off a map without correction for inlet temperature."""
    gas_path.turbo_stage(p, s, levers, air, x)
    ratio = x.deck_pressure / air.ram_pressure
    x.deck_pressure = air.ram_pressure * _ratio_at_sea_level(ratio, air.ram_temperature)


def blower_map_uncorrected(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage's pressure ratio read off a map without correction for inlet temperature."""
    gas_path.geared_stage(p, s, levers, air, x)
    x.blower_ratio = _ratio_at_sea_level(x.blower_ratio, s.air_temperature)


def coordination_together(p: Coefficients, levers: Levers, air: Air) -> Point:
    """Automatic coordination moves throttle and boost together."""
    on = levers.coordination > 0.5
    by_hand = with_lever(levers, "coordination", np.zeros_like(levers.coordination))
    both = with_lever(by_hand, "boost", np.where(on, levers.throttle, levers.boost))
    return conditions.given(p, both, air)


def shutter_two_position(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The shutter snaps open or shut at half of its lever's travel."""
    snapped = np.where(levers.intercooler_shutter < 0.5, 0.0, 1.0)
    return conditions.given(p, with_lever(levers, "intercooler_shutter", snapped), air)


def shutter_heats(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """A shut shutter adds 25 K of its own, whether there is anything to cool or not."""
    gas_path.intercooler(p, s, levers, air, x)
    x.air_temperature = x.air_temperature + 25.0 * (1.0 - levers.intercooler_shutter)


def heat_flap_sticks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The hot-air flap, once open, does not shut again; the carried servo position, unused here, remembers it."""
    s.servo = np.where(levers.carburettor_heat > 0.5, 1.0, s.servo)
    controls.actuators(p, s, levers, air, x, pace)


def intake_of_stuck_flap(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The intake as the flap stands and not as the lever says: hot air gets no ram."""
    inlet = np.where(s.servo > 0.9, air.pressure, x.inlet_pressure)
    x.deck_pressure = inlet - x.inlet_loss * (x.inlet_pressure / inlet) * x.air_flow * x.air_flow
    x.outlet_temperature = air.ram_temperature


def air_of_stuck_flap(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The carburettor air as the flap stands and not as the lever says."""
    hot = np.where(s.servo > 0.9, 1.0, levers.carburettor_heat)
    arrangements.carburettor_air(p, s, with_lever(levers, "carburettor_heat", hot), air, x)
