"""Hand-drawn curves of the Corrie-22, an invented two-stage turbo-supercharged radial.

Every curve is an ``assumption`` of this invented engine, drawn by hand inside the plausible bands of common
practice (no published source) unless its line says otherwise. A curve is drawn through knots by a monotone
cubic (weighted harmonic mean of the neighbouring slopes: Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5,
1984, from memory), laid out once on an even grid and then looked up linearly, ends held.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Curve = Callable[[float], float]

RATED_SPEED = 2460.0  # rpm
DISPLACEMENT = 3480.0  # cu in
AIR_RATED = 3.9  # lb/s, the flow the metering curves are drawn against
RAM_RECOVERY = 0.35  # of the impact pressure: a turbo intake with a long duct
INDICATED_WORK = 655.0  # hp per lb/s of air at best-power mixture
BLOWER_RISE = 108.5  # K at rated speed: gear ratio 6.4, 12.1 in impeller
THROTTLE_FULL = 10.1  # full-open choking flow, lb/s x K^0.5 / inHg
NOZZLE_AREA = 4.0  # choking flow of the turbine nozzle, the same unit
GATE_AREA = 10.0  # choking flow of the open waste gate, the same unit
TURBO_LIMIT = 20.4  # thousand rpm, held by the governor
TURBO_WORK = 0.166  # hp per lb/s and (thousand rpm)^2
TURBO_DRAG = 0.08  # hp per (thousand rpm)^2: windage
TURBO_BEARING = 0.25  # the same unit: oil drag, which counts at low speed and levels off
TURBO_INERTIA = 2.2  # hp s per (thousand rpm)^2
CRANK_INERTIA = 2000.0  # hp s: inertia x speed^2 at rated speed, propeller included
PROPELLER_POWER = 2140.0  # hp, unit of the propeller curve at rated speed in standard air
FINE_STOP, COARSE_STOP = 14.0, 76.0  # deg


def monotone(x: Sequence[float], y: Sequence[float], at: Array) -> Array:
    """Monotone cubic through the knots ``x`` (rising), ``y``, read at ``at``."""
    kx, ky = np.asarray(x, float), np.asarray(y, float)
    width = np.diff(kx)
    slope = np.diff(ky) / width
    tangent = np.empty_like(ky)
    tangent[0], tangent[-1] = slope[0], slope[-1]
    left, right = slope[:-1], slope[1:]
    w1, w2 = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = left * right > 0.0
    safe_left, safe_right = np.where(same, left, 1.0), np.where(same, right, 1.0)
    tangent[1:-1] = np.where(same, (w1 + w2) / (w1 / safe_left + w2 / safe_right), 0.0)
    i = np.clip(np.searchsorted(kx, at, side="right") - 1, 0, len(width) - 1)
    t = np.clip((at - kx[i]) / width[i], 0.0, 1.0)
    value: Array = (
        ky[i] * (1 + 2 * t) * (1 - t) ** 2
        + width[i] * tangent[i] * t * (1 - t) ** 2
        + ky[i + 1] * t * t * (3 - 2 * t)
        + width[i] * tangent[i + 1] * t * t * (t - 1)
    )
    return value


def even(low: float, high: float, values: Array) -> Curve:
    """Look-up of ``values`` laid out evenly from ``low`` to ``high``; beyond them the end value."""
    table: list[float] = [float(v) for v in values]
    last = len(table) - 1
    scale = last / (high - low)

    def look(x: float) -> float:
        u = (x - low) * scale
        if u <= 0.0:
            return table[0]
        if u >= last:
            return table[last]
        i = int(u)
        return table[i] + (u - i) * (table[i + 1] - table[i])

    return look


def drawn(*knots: tuple[float, float], count: int = 600) -> Curve:
    """Curve through hand-drawn knots."""
    x, y = [k[0] for k in knots], [k[1] for k in knots]
    return even(x[0], x[-1], monotone(x, y, np.linspace(x[0], x[-1], count + 1)))


def inverted(x: Array, y: Array, count: int = 1200) -> Curve:
    """``x`` as a curve of the rising ``y``."""
    grid = np.linspace(float(y[0]), float(y[-1]), count + 1)
    return even(float(grid[0]), float(grid[-1]), np.interp(grid, y, x))


# --- levers
throttle_area = drawn(
    (0.0, 0.0075),
    (0.1, 0.034),
    (0.2, 0.065),
    (0.3, 0.1),
    (0.4, 0.145),
    (0.5, 0.2),
    (0.55, 0.232),
    (0.65, 0.285),
    (0.75, 0.357),
    (0.8, 0.43),
    (0.9, 0.66),
    (1.0, 1.0),
)
deck_demand = drawn((0.0, 4.0), (0.12, 11.0), (0.5, 20.0), (1.0, 31.5))  # inHg
governed_speed = drawn((0.0, 0.6 * RATED_SPEED), (0.5, 0.81 * RATED_SPEED), (1.0, RATED_SPEED))

# --- throttle: pressure ratio against engine swallowing / choking flow, by the nozzle flow function, k = 1.4
_r = np.linspace(0.5283, 1.0, 2001)
_phi = np.sqrt(np.maximum(_r ** (2 / 1.4) - _r ** (2.4 / 1.4), 0.0)) / 0.258820
_throttle = inverted(_r[::-1], (_phi / _r)[::-1])


def throttle_ratio(swallowing: float) -> float:
    """Pressure behind / ahead of the throttle; choked beyond 1/0.5283."""
    return _throttle(swallowing) if swallowing < 1.8925 else 1.0 / swallowing


# --- the two compressors: ratio against corrected speed, from a drawn efficiency
_nc = np.linspace(0.0, 1.6, 801)
_blower_eta = monotone((0, 0.25, 0.6, 0.9, 1.1, 1.6), (0.55, 0.62, 0.69, 0.71, 0.70, 0.60), _nc)
blower_ratio = even(0.0, 1.6, (1.0 + _blower_eta * BLOWER_RISE / 288.15 * _nc**2) ** 3.5)
_tc = np.linspace(0.0, 30.0, 1201)
TURBO_RISE = TURBO_WORK / (0.24 * 1.8 * 1.4149)  # K per (thousand rpm)^2, the same work as a temperature
_turbo_eta = monotone((0, 5, 12, 17, 21, 25, 30), (0.55, 0.62, 0.69, 0.70, 0.68, 0.63, 0.55), _tc)
_turbo_pr = (1.0 + _turbo_eta * TURBO_RISE / 288.15 * _tc**2) ** 3.5
turbo_ratio = even(0.0, 30.0, _turbo_pr)
_turbo_need = inverted(_tc, np.sqrt(_turbo_pr - 1.0))


def turbo_speed_for(ratio: float) -> float:
    """Corrected speed (thousand rpm) at which the exhaust-driven stage gives ``ratio``; 0 for none."""
    return _turbo_need(math.sqrt(ratio - 1.0)) if ratio > 1.0 else 0.0


# --- exhaust: x = flow x sqrt(T) / (ambient pressure x open choking flow), k = 1.34
_pr = np.concatenate([1.0 + np.linspace(0.0, 1.0, 1501) ** 2 * 0.8, np.linspace(1.801, 8.0, 2000)])
_q = np.maximum(1.0 / _pr, 0.5384)
_gas = np.sqrt(np.maximum(_q ** (2 / 1.34) - _q ** (2.34 / 1.34), 0.0))
_x = _pr * _gas / float(_gas[-1])
_eta_t = monotone((1.0, 1.2, 1.6, 2.5, 4.0, 8.0), (0.50, 0.58, 0.63, 0.65, 0.62, 0.5), _pr)
_drop = _eta_t * (1.0 - _pr ** (-0.34 / 1.34))
expansion_ratio = even(0.0, 4.0, np.interp(np.linspace(0.0, 4.0, 2401), _x, _pr))
turbine_drop = even(0.0, 4.0, np.interp(np.linspace(0.0, 4.0, 2401), _x, _drop))
_yield = inverted(_x[_x <= 4.0], np.cbrt(_x * _drop)[_x <= 4.0], 2400)


def flow_for_drop(product: float) -> float:
    """Exhaust flow x whose x times turbine drop is ``product``: what the waste gate has to leave."""
    return _yield(product ** (1 / 3)) if product > 0.0 else 0.0


# --- cylinder
charging = drawn(
    (0, 0.62),
    (500, 0.68),
    (1000, 0.82),
    (1600, 0.94),
    (2100, 0.955),
    (2460, 0.94),
    (2800, 0.90),
    (3400, 0.78),
)
residual = drawn(
    (0.0, 1.13),
    (0.3, 1.092),
    (0.5, 1.065),
    (0.75, 1.033),
    (1.0, 1.0),
    (1.5, 0.935),
    (2.0, 0.87),
    (3.0, 0.74),
    (4.5, 0.56),
    (8.0, 0.3),
)  # against back pressure / manifold pressure, after the ideal-cycle trend
friction = drawn((0, 12), (600, 13.5), (1200, 16), (1800, 19.5), (2460, 24.5), (3000, 30), (3600, 38))  # psi
firing = drawn((0, 0), (120, 0), (320, 1), (400, 1))  # share of cycles that fire, against rpm
mixture_power = drawn(
    (0.0, 0),
    (0.04, 0),
    (0.05, 0.6),
    (0.056, 0.8),
    (0.0625, 0.925),
    (0.068, 0.975),
    (0.077, 1.0),
    (0.085, 0.99),
    (0.095, 0.965),
    (0.105, 0.93),
    (0.115, 0.88),
    (0.125, 0.8),
    (0.14, 0.5),
)
exhaust_heat = drawn(
    (0.0, 420),
    (0.045, 800),
    (0.06, 1100),
    (0.067, 1170),
    (0.075, 1140),
    (0.085, 1080),
    (0.095, 1025),
    (0.105, 975),
    (0.125, 880),
)  # K against fuel-air ratio
exhaust_load = drawn((0.0, 0.62), (0.04, 0.72), (0.2, 0.9), (0.5, 0.98), (1.0, 1.0), (1.4, 1.02))

# --- metering: fuel-air ratio against air flow / AIR_RATED, by mixture state; none depends on height
_metered = (0.0, 0.08, 0.25, 0.45, 0.65, 0.8, 1.0, 1.4)


def _metering(*ratios: float) -> Curve:
    return drawn(*zip(_metered, ratios, strict=True))


METERING: tuple[Curve, ...] = (
    lambda _flow: 0.0,
    _metering(0.088, 0.082, 0.068, 0.067, 0.070, 0.079, 0.088, 0.096),
    _metering(0.095, 0.090, 0.080, 0.078, 0.082, 0.088, 0.094, 0.101),
    _metering(0.105, 0.102, 0.098, 0.097, 0.099, 0.102, 0.106, 0.111),
)

# --- cooling and propeller
shutter_cooling = drawn((0.0, 0.10), (0.3, 0.30), (0.6, 0.47), (1.0, 0.58))
airspeed_cooling = drawn((0, 0.45), (60, 0.62), (120, 0.86), (180, 1.0), (320, 1.12))
head_cooling = drawn((0, 0.8), (60, 0.9), (140, 1.15), (220, 1.35), (350, 1.6))
propeller_load = drawn(
    (-60, -1.3),
    (-40, -0.9),
    (-20, -0.42),
    (-10, -0.16),
    (-5, -0.06),
    (0, 0.02),
    (5, 0.12),
    (10, 0.29),
    (14, 0.45),
    (20, 0.85),
    (25, 1.3),
    (30, 1.9),
    (40, 3.3),
    (50, 4.7),
    (70, 7.2),
)  # against angle of attack, deg
_alpha = np.linspace(-60.0, 70.0, 1301)
blade_for_load = inverted(_alpha, np.array([propeller_load(float(a)) for a in _alpha]), 2400)
saturation = drawn(*[(t, 0.18087 * math.exp(17.502 * t / (240.97 + t))) for t in range(-60, 61, 5)])
"""Vapour pressure over water, inHg, against degC (Buck, J. Appl. Meteorol. 20, 1981)."""
