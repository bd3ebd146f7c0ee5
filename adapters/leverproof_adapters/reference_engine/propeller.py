"""Constant-speed propeller: one blade element for the whole blade, and a hydraulic blade-angle governor."""

from __future__ import annotations

import math

from numpy import add, arctan2, divide, maximum, minimum, multiply, sqrt, subtract, tan

from leverproof_adapters.reference_engine.coefficients import ONE, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Levers, Pace, Point, State

_RADIAN = scalar(math.pi / 180.0)


def propeller(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque taken by the propeller at its own shaft; negative when the air drives it.

    Blade-element theory at three quarters of the radius; the induced flow takes a fixed share of the incidence
    (assumption), lift as ``sin 2a / 2``, drag rising with the square of ``sin a``. Sines and cosines are written with
    tangents, ``sin2 a = t2 / (1 + t2)``, of which NumPy makes short work.
    """
    flow_angle, incidence, flow2, incidence2, along, spare, _ = s.room
    angles, squares = s.pairs  # of the first two and the next two of these
    across = s.found.propeller_torque
    multiply(s.crank, p.blade_tip_radius, along)
    # the incidence is a share of what is between the helix and the blade, and the flow comes in at what it leaves
    helix = arctan2(air.speed, along, spare)
    blade = multiply(s.blade, _RADIAN, flow_angle)
    subtract(blade, helix, incidence)
    multiply(incidence, p.incidence_share, incidence)
    subtract(blade, incidence, blade)
    tan(angles, angles)
    multiply(angles, angles, squares)
    add(squares, ONE, squares)
    # lift sin b + drag cos b = [slope t f + drag0 + (drag0 + rise) t2] / [(1 + t2) sqrt(1 + f2)], t = tan a, f = tan b;
    # here over the slope of the lift, and drag0 + (drag0 + rise) t2 = (drag0 + rise) (1 + t2) - rise
    multiply(incidence, flow_angle, across)
    subtract(across, p.drag_rise_to_lift, across)
    add(across, multiply(p.drag_to_lift, incidence2, spare), across)
    divide(across, incidence2, across)
    divide(across, sqrt(flow2, flow2), across)
    multiply(along, along, along)
    add(along, x.airspeed_squared, along)
    multiply(across, along, across)
    multiply(across, x.blade_pressure, across)
    x.propeller_torque = across


def governor(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Moves the blade angle (deg): oil flow, hence blade rate, follows speed error and acceleration.

    The blade angle integrates the error, so governed speed has no droop. Form: common practice, no published source;
    gains: assumption.
    """
    rate, damped, *_ = s.room
    subtract(s.crank, x.speed_asked, rate)
    multiply(rate, p.governor_integral, rate)
    add(rate, multiply(p.governor_lead, s.crank_acceleration, damped), rate)
    maximum(rate, p.least_blade_rate, out=rate)
    minimum(rate, p.blade_rate, out=rate)
    multiply(rate, pace.dt, rate)
    add(rate, s.blade, rate)
    maximum(rate, p.fine_stop, out=rate)
    minimum(rate, p.coarse_stop, out=s.blade)
