"""The channels: every lever, every surrounding and every reading by its trade name.

The canonical unit of a channel is the trade's; a model may use any unit of the same dimension and says so in its
handshake. Discrete channels carry the index of their state on the wire (0, 1, 2 in the order given here).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from leverproof.errors import InputError, nearest


@dataclass(frozen=True, slots=True)
class Channel:
    """A named quantity. ``kind`` is ``lever``, ``surrounding``, ``reading`` or ``other lever`` (that lever of every
    other engine of the aeroplane); ``band`` is the largest spread (canonical unit) over a steadiness window of five
    seconds that still counts as steady; ``span`` is the normal operating range used where a percentage is *of range*;
    ``positions`` names places of a continuous lever."""

    name: str
    kind: str
    unit: str
    meaning: str
    states: tuple[str, ...] = ()
    band: float = 0.0
    span: float = 1.0
    positions: tuple[tuple[str, float], ...] = ()

    @property
    def farthest(self) -> tuple[float, float]:
        """The least and the most that a reading shows on any engine: zero where nothing is below it, absolute zero for
        a temperature, else its span backwards; an opening or a position 1, else ten times its span (assumption, wide
        of everything flown). Only for a reading that is a number."""
        if self.unit == "1":
            return 0.0, 1.0
        least = {"degC": -273.15, "hp": -self.span, "lbf.ft": -self.span, "deg": -self.span}.get(self.unit, 0.0)
        return least, 10.0 * self.span


def _lever(
    name: str, meaning: str, states: tuple[str, ...] = (), positions: tuple[tuple[str, float], ...] = ()
) -> Channel:
    return Channel(name, "lever", "1", meaning, states, positions=positions)


_ALL = (
    _lever("throttle", "0 closed (idle stop) to 1 full open", (), (("closed", 0.0), ("open", 1.0))),
    _lever("boost", "0 fully back (no boost asked) to 1 full", (), (("back", 0.0), ("full", 1.0))),
    _lever(
        "propeller",
        "0 full coarse (least rpm) to 1 full forward (rated rpm)",
        (),
        (("coarse", 0.0), ("rated", 1.0)),
    ),
    _lever("mixture", "by effect", ("cut_off", "auto_lean", "auto_rich", "full_rich")),
    _lever("intercooler_shutter", "0 shut to 1 open", (), (("shut", 0.0), ("open", 1.0))),
    _lever("carburettor_heat", "by effect", ("cold", "hot")),
    _lever("blower_gear", "by effect", ("low", "high")),
    _lever("cowl_flaps", "0 shut to 1 open", (), (("shut", 0.0), ("open", 1.0))),
    _lever("lever_link", "throttle and boost linked by the hardware", ("off", "on")),
    _lever("coordination", "automatic coordination of throttle and boost", ("off", "on")),
    _lever("starter", "turns the crankshaft while it is engaged", ("off", "engaged")),
    Channel("pressure_altitude", "surrounding", "ft", "height in the standard atmosphere by static pressure"),
    Channel("temperature_offset", "surrounding", "K", "air temperature above standard at that height"),
    Channel("relative_humidity", "surrounding", "1", "0 dry to 1 saturated"),
    Channel("true_airspeed", "surrounding", "kt", "an input on an engine stand, a reading on an aeroplane stand"),
    Channel("manifold_pressure", "reading", "inHg", "absolute, at the intake manifold", (), 0.06, 60.0),
    Channel("engine_speed", "reading", "rpm", "crankshaft", (), 6.0, 3000.0),
    Channel("turbo_speed", "reading", "rpm", "exhaust-driven rotor", (), 60.0, 25000.0),
    Channel("brake_power", "reading", "hp", "at the propeller shaft", (), 4.0, 2500.0),
    Channel("torque", "reading", "lbf.ft", "at the propeller shaft, referred to crankshaft speed", (), 8.0, 5000.0),
    Channel("fuel_flow", "reading", "lb/h", "fuel mass flow", (), 4.0, 2000.0),
    Channel("carburettor_air_temperature", "reading", "degC", "air entering the carburettor", (), 0.3, 100.0),
    Channel("carburettor_deck_pressure", "reading", "inHg", "absolute, ahead of the throttle", (), 0.06, 60.0),
    Channel("exhaust_back_pressure", "reading", "inHg", "absolute, in the exhaust collector", (), 0.1, 60.0),
    Channel("manifold_temperature", "reading", "degC", "charge in the intake manifold", (), 0.5, 200.0),
    Channel("exhaust_gas_temperature", "reading", "degC", "in the exhaust collector", (), 3.0, 1000.0),
    Channel("cylinder_head_temperature", "reading", "degC", "hottest head", (), 2.0, 250.0),
    Channel("wastegate_opening", "reading", "1", "0 shut to 1 open", (), 0.01, 1.0),
    Channel("blade_angle", "reading", "deg", "propeller blade at its reference station", (), 0.1, 60.0),
    Channel("turbo_overspeed_light", "reading", "1", "as the pilot sees it", ("off", "blinking", "on")),
    Channel("throttle_position", "reading", "1", "read back at the carburettor", (), 0.005, 1.0),
    Channel("boost_position", "reading", "1", "read back at the boost control", (), 0.005, 1.0),
    Channel("ambient_pressure", "reading", "inHg", "static, as the model computes it", (), 0.01, 30.0),
    Channel("ambient_temperature", "reading", "degC", "static, as the model computes it", (), 0.1, 100.0),
)

_OTHERS = tuple(
    replace(c, name=f"other_{c.name}", kind="other lever", meaning=f"{c.name} of all engines but the one under test")
    for c in _ALL
    if c.kind == "lever"
)

CHANNELS: dict[str, Channel] = {c.name: c for c in (*_ALL, *_OTHERS)}
OWN: dict[str, Channel] = {c.name: c for c in _ALL}
"""The channels that a model's signals are mapped to; the others are made of another engine's."""

LEVERS = tuple(c.name for c in _ALL if c.kind == "lever")
SURROUNDINGS = tuple(c.name for c in _ALL if c.kind == "surrounding")
READINGS = tuple(c.name for c in _ALL if c.kind == "reading")
OTHER_LEVERS = {c.name.removeprefix("other_"): c.name for c in _OTHERS}
"""The lever of the other engines, by that of the engine under test."""


def channel(name: str, where: str = "") -> Channel:
    """The channel of that name; raises :class:`InputError` suggesting the nearest."""
    found = CHANNELS.get(name)
    if found is None:
        raise InputError(f"unknown channel {name!r}", where, nearest(name, CHANNELS), "channel")
    return found


def state_index(name: str, state: str, where: str = "") -> int:
    """Number that stands for a named state of a discrete channel."""
    states = channel(name, where).states
    if state not in states:
        raise InputError(f"{name} has no state {state!r}", where, nearest(state, states), "state")
    return states.index(state)


def position(name: str, word: str, where: str = "") -> float:
    """Number that stands for a named position or state of a lever."""
    lever = channel(name, where)
    if lever.states:
        return float(state_index(name, word, where))
    places = dict(lever.positions)
    if word not in places:
        raise InputError(f"{name} has no position {word!r}", where, nearest(word, places), "position")
    return places[word]
