"""What a unit says of itself: its description, read and validated by FMPy (the extra ``fmi``), as plain data.

Reading runs none of the unit's code.
"""

from __future__ import annotations

import importlib
import io
import math
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import Any

from leverproof.errors import InputError
from leverproof_adapters.fmi.archive import DESCRIPTION, Archive

MOST_WARNINGS = 20
NUMBERS = {
    2: ("Real", "Integer", "Enumeration", "Boolean"),
    3: ("Float64", "Float32", "Int8", "UInt8", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64",
        "Enumeration", "Boolean"),
}  # fmt: skip
"""Variable types whose values are numbers, by FMI version."""


@dataclass(frozen=True, slots=True)
class BaseUnit:
    """What a unit of measure is in SI: exponents of kg, m, s, A, K, mol, cd, rad; SI value = factor * number +
    offset."""

    exponents: tuple[int, ...]
    factor: float
    offset: float


@dataclass(frozen=True, slots=True)
class Variable:
    """A scalar variable of a unit; ``items`` are names and values of an enumeration."""

    name: str
    reference: int
    type: str
    causality: str
    variability: str
    initial: str
    unit: str
    items: tuple[tuple[str, int], ...] = ()
    scalar: bool = True
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Description:
    """A co-simulation unit: ``major`` is 2 or 3, ``token`` what it wants to be instantiated with, ``units`` the
    units of measure it defines. ``warnings`` are what the validator found."""

    major: int
    identifier: str
    token: str
    name: str
    version: str
    origin: str
    only_once: bool
    inner_step: float | None
    variables: dict[str, Variable]
    units: dict[str, BaseUnit]
    warnings: tuple[str, ...]


def reader() -> ModuleType:
    """The reading library; raises :class:`InputError` naming the extra when it is not installed."""
    try:
        return importlib.import_module("fmpy.model_description")
    except ImportError as reason:
        raise InputError(
            f"kind 'fmi' needs the package fmpy, which cannot be imported: {reason}",
            "",
            "install the extra: pip install 'leverproof[fmi]'",
            "missing_extra",
        ) from reason


def formatter() -> str:
    """The reader's library that writes out the formats in messages of FMI 2.0, which Python cannot do: their arguments
    are variadic. Empty where it brings none for this computer."""
    package = importlib.import_module("fmpy")
    found = Path(package.__file__ or "").parent / "logging" / package.platform
    library = found / f"logging{package.sharedLibraryExtension}"
    return str(library) if library.is_file() else ""


def describe(archive: Archive) -> Description:
    """The description in ``archive``.

    Raises :class:`InputError` for an FMI version other than 2.0 and 3.0, a unit that cannot be co-simulated and a
    description that cannot be read. What the validator objects to beyond that is a warning: widely used exporters
    write units that run well and do not validate.
    """
    module = reader()
    if archive.version != "2.0" and not archive.version.startswith("3."):
        raise archive.refuse(
            f"is a unit of FMI {archive.version or 'without a version'}; 2.0 and 3.0 can be mounted",
            "version",
        )
    try:
        read = module.read_model_description(_alone(archive), validate=False)
        _drivable(archive, read)
        return _plain(archive, read)
    except InputError:
        raise
    except Exception as reason:
        # The reader raises bare exceptions, and whatever its XML library does, for what it cannot make sense of.
        said = str(reason).strip() or type(reason).__name__
        raise archive.refuse(f"its description cannot be read: {said[:500]}", "description") from reason


def _drivable(archive: Archive, read: Any) -> None:
    if read.coSimulation is None:
        kinds = {"modelExchange": "model exchange", "scheduledExecution": "scheduled execution"}
        offered = [words for key, words in kinds.items() if getattr(read, key) is not None]
        raise archive.refuse(
            f"cannot be co-simulated: it offers {' and '.join(offered) or 'no interface'}",
            "no_co_simulation",
            "export it for co-simulation, with its own solver",
        )
    if not str(read.coSimulation.modelIdentifier or "").replace("_", "a").isalnum():
        raise archive.refuse(f"its model identifier is {read.coSimulation.modelIdentifier!r}", "description")
    strange = [one.name for one in read.modelVariables if not 0 <= one.valueReference < 2**32]
    if strange:
        raise archive.refuse(f"the value reference of {strange[0]!r} is out of range", "description")


def _plain(archive: Archive, read: Any) -> Description:
    drive = read.coSimulation
    major = int(archive.version[0])
    warnings = list(_validated(archive))
    if drive.needsExecutionTool:
        warnings.append("the unit needs the program it was exported from on this computer")
    variables: dict[str, Variable] = {}
    for one in read.modelVariables:
        variable = _variable(one)
        for name in (one.name, *(alias.name for alias in one.aliases)):
            if name in variables:
                raise archive.refuse(f"names two variables {name!r}", "description")
            variables[name] = replace(variable, name=name)
    given = getattr(drive, "fixedInternalStepSize", None)
    step = None if given in (None, "") else float(given)
    if step is not None and not 0.0 < step < math.inf:
        raise archive.refuse(f"its fixed step inside is {step:g} s", "description")
    tool, author = read.generationTool, read.author
    return Description(
        major=major,
        identifier=str(drive.modelIdentifier),
        token=read.guid or "",
        name=read.modelName or str(drive.modelIdentifier),
        version=read.version or "not stated",
        origin=", ".join(filter(None, (author and f"author {author}", tool and f"exported by {tool}"))),
        only_once=bool(drive.canBeInstantiatedOnlyOncePerProcess),
        inner_step=step,
        variables=variables,
        units={one.name: _base(one.baseUnit) for one in read.unitDefinitions if one.baseUnit is not None},
        warnings=tuple(warnings),
    )


def _alone(archive: Archive) -> io.BytesIO:
    """The description as an archive in memory: the reader closes no files when it fails."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as alone:
        alone.writestr(DESCRIPTION, archive.description)
    held.seek(0)
    return held


def _validated(archive: Archive) -> list[str]:
    """The validator's objections, at most ``MOST_WARNINGS`` and a count of the rest."""
    found = importlib.import_module("fmpy.validation").validate_fmu(_alone(archive))
    problems = [" ".join(str(problem).split())[:300] for problem in found]
    rest = len(problems) - MOST_WARNINGS
    shown = [f"the validator says: {problem}" for problem in problems[:MOST_WARNINGS]]
    return [*shown, f"the validator says {rest} things more"] if rest > 0 else shown


def _base(base: Any) -> BaseUnit:
    exponents = (base.kg, base.m, base.s, base.A, base.K, base.mol, base.cd, base.rad)
    return BaseUnit(exponents, float(base.factor), float(base.offset))


def _variable(one: Any) -> Variable:
    declared = one.declaredType
    items = declared.items if declared is not None and one.type == "Enumeration" else ()
    inherited = declared.unit if declared is not None else None
    limits = [getattr(one, key) or (getattr(declared, key) if declared is not None else None) for key in ("min", "max")]
    least, most = (_number(limit) for limit in limits)
    return Variable(
        name=one.name,
        reference=one.valueReference,
        type=one.type,
        causality=one.causality,
        variability=one.variability,
        initial=one.initial or "",
        unit=one.unit or inherited or "",
        items=tuple((item.name, int(item.value)) for item in items),
        scalar=not one.dimensions,
        least=least,
        most=most,
    )


def _number(text: object) -> float | None:
    return None if text in (None, "") else float(str(text))
