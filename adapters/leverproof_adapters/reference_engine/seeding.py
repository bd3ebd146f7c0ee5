"""What a seeded defect is, and the three ways to build one in: other coefficients, other data, other parts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.parameters import scaled

Change = Callable[[Build], Build]
EARLY, LATE = ("corrie-18-early",), ("corrie-18-late",)
BOTH = (*EARLY, *LATE)


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect: ``size`` is ``large`` or ``small``, ``reason`` what would have gone wrong in a real model, ``fires``
    the ids of required cases expected to fail, ``may_fire`` those it brings within doubt of their limit,
    ``applies_to`` the parameter sets it can be built into."""

    name: str
    size: str
    reason: str
    change: Change
    applies_to: tuple[str, ...] = BOTH
    fires: tuple[str, ...] = ()
    may_fire: tuple[str, ...] = ()


def other_coefficients(**factors: float) -> Change:
    """Named coefficients multiplied."""
    return lambda build: replace(build, parameters=scaled(build.parameters, factors))


def other_data(**data: object) -> Change:
    """Named data of the parameter set replaced."""

    def change(build: Build) -> Build:
        return replace(build, parameters=replace(build.parameters, **data))  # type: ignore[arg-type]

    return change


def other_parts(**parts: object) -> Change:
    """Named parts of the build replaced."""
    return lambda build: replace(build, **parts)  # type: ignore[arg-type]
