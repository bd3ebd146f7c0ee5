"""The two-stage reference engine once more, one lane in plain Python floats: the opponent of ``bench_transients.py``.

Same equations, coefficients, inner step and order as the parts in ``leverproof_adapters.reference_engine``, where the
sources stand; nothing is tabulated there, so nothing is interpolated here. Only the arrangement of the Corrie-18 early
set: two stages, waste gate moved by the boost lever, three-state light, lever link.

Written to be fast: everything of an inner step stands in one long function on local names, because calls and attribute
look-ups are what plain Python pays for most; products of coefficients are taken once, and what only levers and
surroundings decide once a row. ``if`` stands for ``minimum``, ``maximum`` and ``where``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import atan2, pi, sqrt, tan

from scalar_start import Row, State, starting_state, surroundings

from leverproof import atmosphere
from leverproof.quantities import UNITS
from leverproof_adapters.reference_engine import coefficients, dynamics, gas_path
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Pace

INPUTS = (
    "throttle", "boost", "propeller", "mixture", "intercooler_shutter", "lever_link",
    "pressure_altitude", "temperature_offset", "relative_humidity", "true_airspeed",
)  # fmt: skip
OUTPUTS = (
    "manifold_pressure", "engine_speed", "turbo_speed", "brake_power", "torque", "fuel_flow",
    "carburettor_air_temperature", "carburettor_deck_pressure", "exhaust_back_pressure", "manifold_temperature",
    "exhaust_gas_temperature", "cylinder_head_temperature", "wastegate_opening", "blade_angle",
    "turbo_overspeed_light", "throttle_position", "boost_position", "ambient_pressure", "ambient_temperature",
)  # fmt: skip

Stepper = Callable[[State, Iterable[Row]], tuple[State, list[Row]]]


class ScalarEngine:
    """One lane of a build without defects, stepped row by row; rows in the order of :data:`INPUTS`, readings in
    canonical units in the order of :data:`OUTPUTS`. Raises ValueError for another arrangement than its own."""

    def __init__(self, build: Build, step_ticks: int) -> None:
        p = build.parameters
        own = (
            p.arrangement == "two_stage" and p.boost_acts_on == "gate" and p.light_kind == "three_state"
            and p.has_link and not p.has_coordination and p.friction_load_share == 0.0
        )  # fmt: skip
        if not own:
            raise ValueError(f"no scalar twin of {p.variant}")
        self._parameters = p
        self._air = surroundings(p)
        pace = dynamics.pace(build, step_ticks)
        shares = {name: float(getattr(pace, name)) for name in Pace.__slots__ if name != "lags"}
        self._step = stepper(p, shares, dynamics.inner_steps(step_ticks))
        # A step of no length evaluates the instant and moves nothing.
        self._look = stepper(p, dict.fromkeys(shares, 0.0), 1)
        self._state: State = ()

    def initialise(self, row: Row, *, running: bool) -> Row:
        """A fresh lane; returns the readings at t_0."""
        state = starting_state(self._parameters, self._air, row, running=running)
        moved, found = self._look(state, (row,))
        self._state = (*state[:-1], moved[-1])
        return found[0]

    def advance(self, rows: Iterable[Row]) -> list[Row]:
        """Advance through ``rows``; returns the readings after each."""
        self._state, found = self._step(self._state, rows)
        return found


def stepper(p: Parameters, pace: dict[str, float], inner: int) -> Stepper:
    """Function that moves a state through rows of ``inner`` steps each; one long function on purpose, see above."""
    gas_constant, air_heat = atmosphere.GAS_CONSTANT, coefficients.AIR_HEAT
    air, inner_range, dt = surroundings(p), range(inner), pace["dt"]
    # charge flow
    swept = p.displacement / (4.0 * pi)
    residual = p.scavenge / (1.4 * (p.compression_ratio - 1.0))
    charge_scale = swept * p.volumetric / gas_constant
    unheated, wall, flow_gain = 1.0 - p.wall_heating, p.wall_heating * p.wall_temperature, 1.0 + residual
    # mixture
    per_rated, low_gain, high_gain = 1.0 / p.rated_flow, 1.0 / 0.20, 1.0 / 0.45
    idle_gain, rich_base, rich_gain = p.idle_enrichment, p.auto_rich_ratio, p.auto_rich_power
    lean_base, lean_gain, full_rich = p.auto_lean_ratio, p.auto_lean_power, p.full_rich_factor
    firing_from, firing_gain = p.firing_from, 1.0 / (p.firing_full - p.firing_from)
    # turbo stage
    duct_loss, cooler_loss, outlet_flow = p.duct_loss, p.cooler_loss, p.outlet_flow
    wheel = p.turbo_wheel_radius
    wheel_area = 4.0 * wheel * wheel
    mach_limit, mach_penalty, turbo_head, turbo_work = (
        p.tip_mach_limit, p.tip_mach_penalty, p.turbo_head, p.turbo_work,
    )  # fmt: skip
    per_turbo_limit, disc_gain = 1.0 / p.turbo_flow_limit, p.turbo_disc_work * wheel_area
    cooler_open, cooler_shut, cooler_static = p.cooler_open, p.cooler_shut, p.cooler_static
    # geared stage
    blower_tip = p.blower_wheel_radius * p.blower_gear
    blower_area = 4.0 * p.blower_wheel_radius * p.blower_wheel_radius
    evaporation = p.evaporated * p.latent_heat / air_heat
    through_gain, blower_head = gas_constant / (blower_area * p.blower_flow_limit), p.blower_head
    blower_heat = p.blower_work / air_heat
    blower_drive = p.blower_work * blower_tip / p.blower_gear_efficiency
    # throttle
    cam, uncam = p.throttle_cam, 1.0 - p.throttle_cam
    idle_area, full_area = coefficients.AIR_CHOKED * p.throttle_idle_area, coefficients.AIR_CHOKED * p.throttle_area
    ra, sa = gas_path.AIR_CRITICAL, (1.0 - gas_path.AIR_CRITICAL) ** 2
    ra_sa = ra * ra - sa
    # exhaust and turbine
    shut_area, gate_area, nozzle = p.nozzle_area + p.exhaust_leak_area, p.gate_area, p.nozzle_area
    rg, sg = gas_path.GAS_CRITICAL, (1.0 - gas_path.GAS_CRITICAL) ** 2
    qg, gas_choked, jet_gain = 1.0 - 2.0 * rg, coefficients.GAS_CHOKED, 2.0 * coefficients.GAS_HEAT
    best, turbine_radius = p.turbine_speed_ratio, p.turbine_radius
    two_best = 2.0 * best
    turbine_gain = 0.5 * p.turbine_efficiency * turbine_radius / (best * best) * nozzle
    # work
    best_ratio, lean_fall, rich_fall = p.best_power_ratio, p.lean_fall, p.rich_fall
    lean_edge, rich_edge, per_lean, per_rich = (
        p.lean_limit - 0.004,
        p.rich_limit + 0.010,
        1.0 / 0.004,
        1.0 / 0.010,
    )
    dilution, indicated_work, pumping = p.dilution, p.indicated_work, p.pumping * swept
    friction_constant, friction_speed = swept * p.friction_constant, swept * p.friction_speed
    # gas and head temperatures
    peak_gas, mixture_slope, cooling_flow = p.gas_peak_temperature, p.gas_mixture_slope, p.gas_cooling_flow
    head_gain = p.head_gain
    # propeller, governor, shafts
    radius = 0.75 * p.propeller_radius
    along_gain, radian = p.reduction * radius, pi / 180.0
    inflow, not_inflow, lift_slope = p.inflow, 1.0 - p.inflow, p.lift_slope
    drag_base, drag_slope, blade_gain = p.blade_drag, p.blade_drag + p.blade_drag_rise, 0.5 * p.blade_area * radius
    rated_speed, least, above_least = p.rated_speed, p.least_governed, 1.0 - p.least_governed
    integral, lead, blade_rate = p.governor_integral, p.governor_lead, p.blade_rate
    fine, coarse = p.fine_stop, p.coarse_stop
    bearing, bearing_constant, turbo_inertia = p.turbo_drag, p.turbo_drag_constant, p.turbo_inertia
    reduction, breakaway, per_inertia = p.reduction, p.breakaway, 1.0 / p.shaft_inertia
    # controls and lags
    linear_gate, cube_gate = 1.0 - p.gate_shape, p.gate_shape
    edge_1, edge_2, edge_3 = p.light_blinking_above, p.light_off_above, p.light_on_above
    hysteresis, light_states = p.light_hysteresis, (2.0, 1.0, 0.0, 2.0)
    throttle_share, boost_share, gate_share = pace["throttle"], pace["boost"], pace["gate"]
    manifold_share, collector_share = pace["manifold"], pace["collector"]
    air_share, gas_share, head_share = pace["air_temperature"], pace["gas_temperature"], pace["head"]
    # readings
    per_inhg, per_rpm, per_hp = 1.0 / UNITS["inHg"].scale, 1.0 / UNITS["rpm"].scale, 1.0 / UNITS["hp"].scale
    per_lbf_ft, per_lb_h, zero = 1.0 / UNITS["lbf.ft"].scale, 1.0 / UNITS["lb/h"].scale, UNITS["degC"].offset

    def advance(state: State, rows: Iterable[Row]) -> tuple[State, list[Row]]:
        (
            throttle, boost, gate, turbo, crank, acceleration, blade, manifold, collector, throat,
            air_temperature, charge, gas, head_temperature, zone,
        ) = state  # fmt: skip
        found: list[Row] = []
        for row in rows:
            (
                throttle_lever, boost_lever, propeller, mixture, shutter, link,
                altitude, offset, humidity, airspeed,
            ) = row  # fmt: skip
            throttle_lever = 0.0 if throttle_lever < 0.0 else 1.0 if throttle_lever > 1.0 else throttle_lever
            boost_lever = 0.0 if boost_lever < 0.0 else 1.0 if boost_lever > 1.0 else boost_lever
            propeller = 0.0 if propeller < 0.0 else 1.0 if propeller > 1.0 else propeller
            shutter = 0.0 if shutter < 0.0 else 1.0 if shutter > 1.0 else shutter
            if link > 0.5:
                boost_lever = throttle_lever
            pressure, temperature, sound, speed, ram, ram_temperature, dry, density = air(
                altitude, offset, humidity, airspeed
            )
            if dry < 0.5:
                dry = 0.5
            duct = duct_loss * ram_temperature / ram
            ram_heat = air_heat * ram_temperature
            reach = cooler_static + (1.0 - cooler_static) * (speed / 75.0 if speed < 75.0 else 1.0)
            effectiveness = cooler_shut + (cooler_open * reach - cooler_shut) * shutter
            head_scale = head_gain / sqrt((speed + 45.0) * density * (1.0 / 90.0))
            speed_squared = speed * speed
            blade_density = blade_gain * density
            asked = rated_speed * (least + above_least * propeller)
            indicated_gain = indicated_work * dry
            for _ in inner_range:
                # charge flow
                scale = charge_scale / (charge * unheated + wall)
                per_pressure = scale * flow_gain
                suction = scale * residual * collector
                per_radian = per_pressure * manifold - suction
                if per_radian < 0.0:
                    per_radian = 0.0
                flow = per_radian * crank
                # mixture
                load = flow * per_rated
                high = (load - 0.55) * high_gain
                high = 0.0 if high < 0.0 else 1.2 if high > 1.2 else high
                low = 1.0 - load * low_gain
                idle = idle_gain * low if low > 0.0 else 0.0
                if mixture < 0.5:
                    ratio = 0.0
                else:
                    ratio = rich_base + rich_gain * high + idle
                    if mixture < 1.5:
                        lean = lean_base + lean_gain * high + idle
                        if lean < ratio:
                            ratio = lean
                    elif mixture >= 2.5:
                        ratio *= full_rich
                fuel = ratio * flow
                burn = (crank - firing_from) * firing_gain
                burn = 0.0 if burn < 0.0 else 1.0 if burn > 1.0 else burn
                # turbo stage
                flow_squared = flow * flow
                inlet = ram - duct * flow_squared
                inlet_density = inlet / (gas_constant * ram_temperature)
                tip = wheel * turbo
                tip_squared = tip * tip
                shut_off = turbo_head * tip_squared
                excess = tip / sound - mach_limit
                if excess > 0.0:
                    shut_off *= 1.0 - mach_penalty * excess * excess
                resistance = flow / (inlet_density * wheel_area) * per_turbo_limit
                rise = 1.0 + (shut_off - turbo_head * resistance * resistance) / ram_heat
                if rise < 0.5:
                    rise = 0.5
                outlet = inlet * (rise * rise * rise * sqrt(rise))
                moment = flow * turbo_work * tip + disc_gain * inlet_density * tip_squared
                compressor_torque = moment * wheel
                outlet_temperature = ram_temperature + moment * tip / (air_heat * (flow + outlet_flow))
                deck = outlet - cooler_loss * flow_squared * outlet_temperature / outlet
                # intercooler
                cooled = outlet_temperature - effectiveness * (outlet_temperature - ram_temperature)
                # geared stage
                tip = blower_tip * crank
                tip_squared = tip * tip
                blower_inlet = air_temperature - evaporation * ratio * burn
                resistance = through_gain * flow * blower_inlet / throat
                rise = 1.0 + blower_head * (tip_squared - resistance * resistance) / (air_heat * blower_inlet)
                if rise < 0.5:
                    rise = 0.5
                blower_ratio = rise * rise * rise * sqrt(rise)
                charge_target = blower_inlet + blower_heat * tip_squared
                blower_torque = blower_drive * flow * tip
                # throttle
                conductance = (idle_area + full_area * (throttle * (uncam + cam * throttle))) / sqrt(
                    air_temperature
                )
                k = per_pressure * crank * blower_ratio / conductance
                j = suction * crank / (conductance * deck)
                behind = (1.0 + j) / (k + 1e-12)
                if behind >= ra:
                    a = k * k * sa + 1.0
                    b = k * j * sa + ra
                    root = b * b - a * (j * j * sa + ra_sa)
                    behind = (b + sqrt(root)) / a if root > 0.0 else b / a
                throat_target = behind * deck
                # exhaust
                area = shut_area + gate_area * gate
                gas_flow = flow + fuel
                n = gas_flow * sqrt(gas) / (gas_choked * area * pressure)
                if n * rg > 1.0:
                    back_target = n * pressure
                else:
                    root = rg * rg + qg * (1.0 + sg * n * n)
                    back_target = ((sqrt(root) if root > 0.0 else 0.0) - rg) / qg * pressure
                # turbine
                energy = jet_gain * gas * (1.0 - sqrt(sqrt(pressure / collector)))
                jet = sqrt(energy) if energy > 0.0 else 0.0
                turbine_torque = turbine_gain * gas_flow / area * (two_best * jet - turbine_radius * turbo)
                # work
                dry_ratio = ratio / dry
                away = dry_ratio - best_ratio
                strength = 1.0 - (lean_fall if away < 0.0 else rich_fall) * away * away
                lean_end = (dry_ratio - lean_edge) * per_lean
                rich_end = (rich_edge - dry_ratio) * per_rich
                edge = lean_end if lean_end < rich_end else rich_end
                if edge < 1.0:
                    strength *= edge if edge > 0.0 else 0.0
                if not strength > 0.0:
                    burn = 0.0
                dilute = collector / manifold - 1.0
                clean = 1.0 - dilution * dilute if dilute > 0.0 else 1.0
                if clean < 0.0:
                    clean = 0.0
                indicated = indicated_gain * per_radian * strength * burn * clean
                if crank > 0.0:
                    pumped = pumping * (collector - manifold)
                    friction = friction_constant + friction_speed * crank
                else:
                    pumped = friction = 0.0
                # gas and head temperatures
                away = ratio - 0.066
                peak = peak_gas - mixture_slope * (sqrt(away * away + 6.4e-5) - 0.008)
                gas_target = charge + (peak - charge) * burn * (flow / (flow + cooling_flow))
                head_target = temperature + head_scale * sqrt(flow * burn * per_rated)
                # propeller
                along = crank * along_gain
                helix = atan2(speed, along)
                gap = blade * radian - helix
                flow_angle = tan(helix + inflow * gap)
                incidence = tan(not_inflow * gap)
                square = incidence * incidence
                across = (lift_slope * incidence * flow_angle + drag_base + drag_slope * square) / (
                    (1.0 + square) * sqrt(1.0 + flow_angle * flow_angle)
                )
                propeller_torque = blade_density * (along * along + speed_squared) * across
                # actuators, gate, governor
                throttle = (throttle + throttle_share * (throttle_lever - throttle) + 1.0) - 1.0
                boost = (boost + boost_share * (boost_lever - boost) + 1.0) - 1.0
                left = 1.0 - boost
                gate = (
                    gate + gate_share * (left * (linear_gate + cube_gate * left * left) - gate) + 1.0
                ) - 1.0
                rate = integral * (crank - asked) + lead * acceleration
                rate = -blade_rate if rate < -blade_rate else blade_rate if rate > blade_rate else rate
                blade += dt * rate
                blade = fine if blade < fine else coarse if blade > coarse else blade
                # lags
                manifold += manifold_share * (throat_target * blower_ratio - manifold)
                collector += collector_share * (back_target - collector)
                throat += manifold_share * (throat_target - throat)
                charge += manifold_share * (charge_target - charge)
                air_temperature += air_share * (cooled - air_temperature)
                gas += gas_share * (gas_target - gas)
                head_temperature += head_share * (head_target - head_temperature)
                # turbo shaft
                turning = bearing_constant * (turbo * 0.2 if turbo < 5.0 else 1.0)
                rotor = turbine_torque - compressor_torque - bearing * turbo - turning
                damping = (compressor_torque + turning) / (turbo + 1.0) + bearing
                turbo += dt * rotor / (turbo_inertia + dt * damping)
                if turbo < 0.0:
                    turbo = 0.0
                # crankshaft
                driving = indicated - pumped - reduction * propeller_torque
                acceleration = (driving - friction - blower_torque) * per_inertia
                crank += dt * acceleration
                if crank < 3.0:
                    if driving < breakaway:
                        crank = acceleration = 0.0
                    elif crank < 0.0:
                        crank = 0.0
                # light
                up = (turbo > edge_1) + (turbo > edge_2) + (turbo > edge_3)
                slow = turbo + hysteresis
                down = (slow > edge_1) + (slow > edge_2) + (slow > edge_3)
                if zone > down:
                    zone = down
                if zone < up:
                    zone = up
            torque = indicated - pumped - friction - blower_torque
            found.append(
                (
                    manifold * per_inhg, crank * per_rpm, turbo * per_rpm, torque * crank * per_hp,
                    torque * per_lbf_ft, fuel * per_lb_h, air_temperature - zero, deck * per_inhg,
                    collector * per_inhg, charge - zero, gas - zero, head_temperature - zero, gate, blade,
                    light_states[int(zone)], throttle, boost, pressure * per_inhg, temperature - zero,
                )
            )  # fmt: skip
        return (
            throttle, boost, gate, turbo, crank, acceleration, blade, manifold, collector, throat,
            air_temperature, charge, gas, head_temperature, zone,
        ), found  # fmt: skip

    return advance
