"""The embedded reference engine: one dynamic model of a piston engine in five invented sets, from an unsupercharged
light six to a two-stage radial with an exhaust-driven first stage.

A statement about a simulated engine of an invented family; nothing in it is a power setting for a real one.
"""

from __future__ import annotations

from typing import Any

from leverproof.errors import InputError
from leverproof.stand.port import StandFile
from leverproof_adapters.reference_engine.components import honest, with_constant
from leverproof_adapters.reference_engine.defects import DEFECTS, with_defect
from leverproof_adapters.reference_engine.parameters import coefficient_names, parameter_set, scaled
from leverproof_adapters.reference_engine.session import ReferenceSession
from leverproof_adapters.reference_engine.variants import variant_factors

__all__ = ["known_coefficients", "known_defects", "open_stand"]

_OPTIONS = {"coefficients", "variant", "constant"}


def open_stand(stand: StandFile, *, defect: str | None) -> ReferenceSession:
    """Mounts the parameter set named by ``stand.target``.

    Options: ``coefficients`` scales named coefficients, ``variant`` applies a named honest set of such factors,
    ``constant`` replaces ``shaft``, ``gas_path`` or ``cylinder`` by a constant one. ``defect`` builds in one of
    :data:`leverproof_adapters.reference_engine.defects.DEFECTS`. Raises :class:`InputError` for unknown names.
    """
    unknown = set(stand.options) - _OPTIONS
    if unknown:
        known = f"known: {', '.join(sorted(_OPTIONS))}"
        raise InputError(f"unknown option {sorted(unknown)[0]!r}", f"{stand.path}: options", known, "option")
    parameters = parameter_set(stand.target)
    if "variant" in stand.options:
        parameters = scaled(parameters, variant_factors(str(stand.options["variant"])))
    parameters = scaled(parameters, _factors(stand.options.get("coefficients", {}), stand.path))
    build = honest(parameters)
    if "constant" in stand.options:
        build = with_constant(build, str(stand.options["constant"]))
    if defect is not None:
        build = with_defect(build, defect)
    return ReferenceSession(build, f"reference engine {parameters.variant}")


def known_defects(stand: StandFile) -> dict[str, dict[str, Any]]:
    """The seeded defects by name, in the form of a stand file's ``[defects]``; ``variants`` names the parameter sets
    a defect can be built into, whichever of them ``stand`` asks for."""
    return {
        name: {
            "size": d.size,
            "reason": d.reason,
            "fires": list(d.fires),
            "may_fire": list(d.may_fire),
            "variants": list(d.applies_to),
        }
        for name, d in DEFECTS.items()
    }


def known_coefficients(stand: StandFile) -> dict[str, float]:
    """The coefficients that the option ``coefficients`` scales, each with the factor 1 that leaves it as it is."""
    return dict.fromkeys(coefficient_names(), 1.0)


def _factors(table: Any, path: str) -> dict[str, float]:
    good = isinstance(table, dict) and all(
        isinstance(v, int | float) and not isinstance(v, bool) for v in table.values()
    )
    if not good:
        raise InputError("expected a table of factors", f"{path}: options.coefficients", code="option")
    return {str(name): float(factor) for name, factor in table.items()}
