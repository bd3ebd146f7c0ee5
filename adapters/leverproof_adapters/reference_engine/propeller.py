"""Constant-speed propeller: one blade element for the whole blade, and a hydraulic blade-angle governor."""

from __future__ import annotations

import math

import numpy as np

from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Levers, Pace, Point, State

_RADIAN = math.pi / 180.0


def propeller(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque taken by the propeller at its own shaft; negative when the air drives it.

    Blade-element theory at three quarters of the radius; the induced flow takes a fixed share of the incidence
    (assumption), lift as ``sin 2a / 2``, drag rising with the square of ``sin a``.
    """
    radius = 0.75 * p.propeller_radius
    along = s.crank * (p.reduction * radius)
    speed2 = along * along + air.speed * air.speed
    helix = np.arctan2(air.speed, along + 1e-9)
    gap = s.blade * _RADIAN - helix
    flow_angle = helix + p.inflow * gap
    sine, cosine = np.sin(gap * (1.0 - p.inflow)), np.cos(gap * (1.0 - p.inflow))
    lift = p.lift_slope * sine * cosine
    drag = p.blade_drag + p.blade_drag_rise * sine * sine
    across = lift * np.sin(flow_angle) + drag * np.cos(flow_angle)
    x.propeller_torque = (0.5 * p.blade_area * radius) * air.density * speed2 * across


def governor(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Moves the blade angle (deg): oil flow, hence blade rate, follows speed error and acceleration.

    The blade angle integrates the error, so governed speed has no droop. Form: common practice, no published source;
    gains: assumption.
    """
    asked = p.rated_speed * (p.least_governed + (1.0 - p.least_governed) * levers.propeller)
    rate = p.governor_integral * (s.crank - asked) + p.governor_lead * s.crank_acceleration
    rate = np.minimum(np.maximum(rate, -p.blade_rate), p.blade_rate)
    s.blade = np.minimum(np.maximum(s.blade + pace.dt * rate, p.fine_stop), p.coarse_stop)
