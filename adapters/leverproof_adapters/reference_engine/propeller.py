"""Constant-speed propeller: one blade element for the whole blade, and a hydraulic blade-angle governor."""

from __future__ import annotations

import math

import numpy as np

from leverproof_adapters.reference_engine.coefficients import ONE, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Levers, Pace, Point, State

_RADIAN = scalar(math.pi / 180.0)


def propeller(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque taken by the propeller at its own shaft; negative when the air drives it.

    Blade-element theory at three quarters of the radius; the induced flow takes a fixed share of the incidence
    (assumption), lift as ``sin 2a / 2``, drag rising with the square of ``sin a``. Sines and cosines are written with
    tangents, ``sin2 a = t2 / (1 + t2)``, of which NumPy makes short work.
    """
    along, helix, gap, square, drag, _ = s.room
    np.multiply(s.crank, p.blade_tip_radius, along)
    np.arctan2(air.speed, along, helix)
    np.multiply(s.blade, _RADIAN, gap)
    gap -= helix
    helix += np.multiply(gap, p.inflow, drag)
    flow_angle = np.tan(helix, helix)
    gap *= p.incidence_share
    incidence = np.tan(gap, gap)
    np.multiply(incidence, incidence, square)
    # lift sin b + drag cos b = [slope t f + drag0 + (drag0 + rise) t2] / [(1 + t2) sqrt(1 + f2)], t = tan a, f = tan b
    across = p.lift_slope * incidence
    across *= flow_angle
    across += p.blade_drag
    across += np.multiply(p.blade_drag_slope, square, drag)
    square += ONE
    across /= square
    flow_angle *= flow_angle
    flow_angle += ONE
    across /= np.sqrt(flow_angle, flow_angle)
    along *= along
    along += x.airspeed_squared
    across *= along
    across *= x.blade_pressure
    x.propeller_torque = across


def governor(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Moves the blade angle (deg): oil flow, hence blade rate, follows speed error and acceleration.

    The blade angle integrates the error, so governed speed has no droop. Form: common practice, no published source;
    gains: assumption.
    """
    rate, damped, *_ = s.room
    np.subtract(s.crank, x.speed_asked, rate)
    rate *= p.governor_integral
    rate += np.multiply(p.governor_lead, s.crank_acceleration, damped)
    np.maximum(rate, p.least_blade_rate, out=rate)
    np.minimum(rate, p.blade_rate, out=rate)
    rate *= pace.dt
    rate += s.blade
    np.maximum(rate, p.fine_stop, out=rate)
    np.minimum(rate, p.coarse_stop, out=s.blade)
