"""Units of measure of a unit in the harness's own symbols.

A description may define its units by powers of SI units, a factor and an offset. The definition decides, not the
spelling: ``1/min`` with the factor of a revolution per minute is ``rpm``, and a ``psi`` that is no psi is refused.
"""

from __future__ import annotations

import math

from leverproof.channels import Channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import UNITS, Unit
from leverproof_adapters.fmi.description import BaseUnit, Description, Variable

_POWERS: dict[str, tuple[int, int, int, int]] = {
    "ratio": (0, 0, 0, 0),
    "pressure": (1, -1, -2, 0),
    "angular speed": (0, 0, -1, 0),
    "power": (1, 2, -3, 0),
    "torque": (1, 2, -2, 0),
    "mass flow": (1, 0, -1, 0),
    "temperature": (0, 0, 0, 1),
    "length": (0, 1, 0, 0),
    "speed": (0, 1, -1, 0),
    "angle": (0, 0, 0, 0),
}
"""Powers of kg, m, s and K in the dimensions of the channels. Exporters write the radian or leave it out."""
_ANGULAR = ("angle", "angular speed")
_CLOSE = 1e-4
"""Relative: exporters round factors to five figures."""


def symbol_of(channel: Channel, variable: Variable, description: Description, said: str | None, where: str) -> str:
    """The symbol of ``variable`` for ``channel``; ``said`` is what the stand file says of it, and then decides.

    Raises :class:`InputError` for another dimension, a unit that is not known here and a symbol that means something
    else there.
    """
    if channel.states:
        return "1"
    ours = UNITS[channel.unit]
    base = description.units.get(variable.unit)
    if base is not None:
        _same_dimension(channel, ours, variable, base, where)
    if said is not None:
        return said
    if not variable.unit:
        if ours.dimension == "ratio":
            return "1"
        raise InputError(
            f"the variable {variable.name!r} for {channel.name} declares no unit",
            where,
            f"write its unit, for example unit = {channel.unit!r}",
            "unit",
        )
    if base is not None:
        return _by_definition(ours, variable, base, where)
    if variable.unit not in UNITS:
        hint = nearest(variable.unit, UNITS)
        raise InputError(f"{variable.name!r} is in {variable.unit!r}, which is no unit known here", where, hint, "unit")
    if UNITS[variable.unit].dimension != ours.dimension:
        raise _mismatch(channel, ours, variable, UNITS[variable.unit].dimension, where)
    return variable.unit


def _same_dimension(channel: Channel, ours: Unit, variable: Variable, base: BaseUnit, where: str) -> None:
    kg, m, s, ampere, kelvin, mole, candela, radian = base.exponents
    powers, strange = (kg, m, s, kelvin), bool(ampere or mole or candela)
    # The radian counts as 1 for what turns; for anything else it is a quantity of its own.
    fitting = [
        name
        for name, others in _POWERS.items()
        if others == powers and not strange and (not radian or name in _ANGULAR)
    ]
    if ours.dimension not in fitting:
        theirs = fitting[0] if fitting else f"{_shown(base)} in SI"
        raise _mismatch(channel, ours, variable, theirs, where)


def _mismatch(channel: Channel, ours: Unit, variable: Variable, theirs: str, where: str) -> InputError:
    return InputError(
        f"{channel.name} is in {channel.unit} ({ours.dimension}), {variable.name!r} in {variable.unit!r} ({theirs})",
        where,
        "map the channel to the variable that has this quantity",
        "dimension",
    )


def _shown(base: BaseUnit) -> str:
    names = ("kg", "m", "s", "A", "K", "mol", "cd", "rad")
    return ".".join(f"{name}{power:+d}" for name, power in zip(names, base.exponents, strict=True) if power)


def _by_definition(ours: Unit, variable: Variable, base: BaseUnit, where: str) -> str:
    def means(unit: Unit) -> bool:
        close = math.isclose(unit.scale, base.factor, rel_tol=_CLOSE)
        return close and math.isclose(unit.offset, base.offset, rel_tol=_CLOSE, abs_tol=1e-9)

    same = [unit for unit in UNITS.values() if unit.dimension == ours.dimension]
    spelled = UNITS.get(variable.unit)
    if spelled is not None and spelled.dimension == ours.dimension:
        if not means(spelled):
            raise InputError(
                f"the description of {variable.name!r} defines {variable.unit!r} with the factor {base.factor:g} and "
                f"the offset {base.offset:g}; it is {spelled.scale:g} and {spelled.offset:g}",
                where,
                "write in the stand file which unit it really uses",
                "unit",
            )
        return variable.unit
    found = [unit.symbol for unit in same if means(unit)]
    if not found:
        raise InputError(
            f"{variable.name!r} is in {variable.unit!r}, {base.factor:g} times the SI unit: no unit known here",
            where,
            f"write unit = {same[0].symbol!r} and a scale in the stand file",
            "unit",
        )
    return found[0]
