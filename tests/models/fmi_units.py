"""Builds units for the tests: a description from a table, C compiled by ``cc``, an archive of both.

The headers of the standards are those FMPy brings along.
"""

from __future__ import annotations

import platform
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import quoteattr

import fmpy

MODELS = Path(__file__).resolve().parent
EXAMPLES = MODELS.parents[1] / "adapters" / "examples"


@dataclass(frozen=True)
class Entry:
    """A variable: ``kind`` is Real, Integer, Boolean, String, or ``Enumeration NAME``; in FMI 3.0 ``kind3`` if it
    differs."""

    name: str
    reference: int
    kind: str
    causality: str
    unit: str = ""
    start: str = ""
    kind3: str = ""
    variability: str = ""


UNITS = {
    "kPa": 'kg="1" m="-1" s="-2" factor="1000"',
    "inHg": 'kg="1" m="-1" s="-2" factor="3386.389"',
    "1/min": 's="-1" rad="1" factor="0.104719755"',
    "rpm": 's="-1" rad="1" factor="0.10471975511965977"',
    "degC": 'K="1" offset="273.15"',
    "K": 'K="1"',
    "hp": 'kg="1" m="2" s="-3" factor="745.6998715822702"',
    "lbf.ft": 'kg="1" m="2" s="-2" factor="1.3558179483314004"',
    "lb/h": 'kg="1" s="-1" factor="0.0001259978805"',
    "ft": 'm="1" factor="0.3048"',
    "kt": 'm="1" s="-1" factor="0.5144444444444445"',
    "deg": 'rad="1" factor="0.017453292519943295"',
    "s": 's="1"',
}
ENUMERATIONS = {
    "Mixture": ("Cut-off", "Auto lean", "Auto rich", "Full rich"),
    "Lamp": ("off", "blinking", "on"),
    "Seed": (
        "none",
        "back-pressure-ambient",
        "charge-ignores-pressure",
        "no-turbo-inertia",
        "boost-without-exhaust",
    ),
}
LAG = (
    Entry("throttle", 0, "Real", "input", start="0"),
    Entry("mix", 1, "Enumeration Mixture", "input", start="3"),
    Entry("hot", 2, "Boolean", "input", start="false"),
    Entry("map", 100, "Real", "output", "kPa"),
    Entry("engine_speed", 101, "Real", "output", "1/min"),
    Entry("lamp", 102, "Boolean", "output"),
    Entry("box", 103, "Real", "local", "degC"),
    Entry("point", 104, "Real", "output", "s"),
    Entry("oil", 105, "Real", "output", kind3="Float32"),
    Entry("cylinders", 106, "Integer", "output", kind3="UInt8"),
    Entry("length", 107, "Real", "output"),
    Entry("lag", 200, "Real", "parameter", "s", "2"),
    Entry("still", 201, "Boolean", "parameter", start="false"),
    Entry("bias", 202, "Integer", "parameter", start="0", kind3="Int16"),
    Entry("note", 300, "String", "parameter", start=""),
)
_CORRIE_IN = ("throttle", "boost", "propeller", "mixture", "intercooler_shutter", "starter", "pressure_altitude",
              "temperature_offset", "relative_humidity", "true_airspeed")  # fmt: skip
_CORRIE_STARTS = {"propeller": "1", "mixture": "3", "intercooler_shutter": "1", "starter": "false"}
_CORRIE_OUT = {
    "manifold_pressure": "inHg", "engine_speed": "rpm", "turbo_speed": "rpm", "brake_power": "hp", "torque": "lbf.ft",
    "fuel_flow": "lb/h", "carburettor_air_temperature": "degC", "carburettor_deck_pressure": "inHg",
    "exhaust_back_pressure": "inHg", "manifold_temperature": "degC", "exhaust_gas_temperature": "degC",
    "wastegate_opening": "", "turbo_overspeed_light": "", "throttle_position": "", "boost_position": "",
    "ambient_pressure": "inHg", "ambient_temperature": "degC", "blade_angle": "deg",
}  # fmt: skip
_KINDS = {"mixture": "Enumeration Mixture", "starter": "Boolean", "turbo_overspeed_light": "Enumeration Lamp"}
_IN_UNITS = {"pressure_altitude": "ft", "temperature_offset": "K", "true_airspeed": "kt"}
CORRIE = (
    *(
        Entry(
            name, i, _KINDS.get(name, "Real"), "input", _IN_UNITS.get(name, ""), _CORRIE_STARTS.get(name, "0")
        )
        for i, name in enumerate(_CORRIE_IN)
    ),
    *(
        Entry(name, 100 + i, _KINDS.get(name, "Real"), "output", unit)
        for i, (name, unit) in enumerate(_CORRIE_OUT.items())
    ),
    Entry("running", 200, "Boolean", "parameter", start="true"),
    Entry("seeded", 201, "Integer", "parameter", start="0", kind3="Int32"),
)


@dataclass(frozen=True)
class Recipe:
    """What a unit is made of; ``attributes`` and ``interface`` are put into the description as they are."""

    name: str
    token: str
    entries: tuple[Entry, ...]
    sources: tuple[Path, ...]
    flags: tuple[str, ...] = ()
    interface: str = ""
    units: tuple[tuple[str, str], ...] = tuple(UNITS.items())


LAG_ENGINE = Recipe(
    "LagEngine", "{0d6f7b4e-5f43-4c6e-9a53-3d1c8f2b7a10}", LAG, (MODELS / "fmi_lag_engine.c",)
)
CORRIE_ENGINE = Recipe(
    "Corrie16",
    "{6a3c1f58-8a17-4a50-8f0e-27c9b1d44e16}",
    CORRIE,
    (MODELS / "fmi_corrie_engine.c", EXAMPLES / "c_engine" / "engine.c"),
    ("-I", str(EXAMPLES / "c_engine")),
)


def description(recipe: Recipe, fmi: int) -> str:
    """The model description."""
    units = "".join(f"<Unit name={quoteattr(name)}><BaseUnit {base}/></Unit>" for name, base in recipe.units)
    head = 'generationTool="the tests" version="1"'
    if fmi == 2:
        return (
            f'<?xml version="1.0" encoding="UTF-8"?>\n<fmiModelDescription fmiVersion="2.0" modelName="{recipe.name}" '
            f'guid="{recipe.token}" {head}>'
            f'<CoSimulation modelIdentifier="{recipe.name}" canHandleVariableCommunicationStepSize="true" '
            f"{recipe.interface}/><UnitDefinitions>{units}</UnitDefinitions><TypeDefinitions>{_types2()}"
            f"</TypeDefinitions><ModelVariables>{''.join(map(_variable2, recipe.entries))}</ModelVariables>"
            f"<ModelStructure><Outputs>{_unknowns(recipe)}</Outputs><InitialUnknowns>{_unknowns(recipe)}"
            "</InitialUnknowns></ModelStructure></fmiModelDescription>"
        )
    outputs = [entry for entry in recipe.entries if entry.causality == "output"]
    listed = "".join(f'<Output valueReference="{entry.reference}"/>' for entry in outputs)
    first = "".join(f'<InitialUnknown valueReference="{entry.reference}"/>' for entry in outputs)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<fmiModelDescription fmiVersion="3.0" modelName="{recipe.name}" '
        f'instantiationToken="{recipe.token}" {head}>'
        f'<CoSimulation modelIdentifier="{recipe.name}" canHandleVariableCommunicationStepSize="true" '
        f"{recipe.interface}/><UnitDefinitions>{units}</UnitDefinitions><TypeDefinitions>{_types3()}"
        "</TypeDefinitions><ModelVariables>"
        '<Float64 name="time" valueReference="999" causality="independent" variability="continuous"/>'
        f"{''.join(map(_variable3, recipe.entries))}</ModelVariables><ModelStructure>{listed}{first}</ModelStructure>"
        "</fmiModelDescription>"
    )


def _unknowns(recipe: Recipe) -> str:
    places = [i for i, entry in enumerate(recipe.entries, 1) if entry.causality == "output"]
    return "".join(f'<Unknown index="{place}"/>' for place in places)


def _items(names: tuple[str, ...]) -> str:
    return "".join(
        f"<Item name={quoteattr(name)} value={quoteattr(str(i))}/>" for i, name in enumerate(names, 1)
    )


def _types2() -> str:
    return "".join(
        f'<SimpleType name="{name}"><Enumeration>{_items(items)}</Enumeration></SimpleType>'
        for name, items in ENUMERATIONS.items()
    )


def _types3() -> str:
    return "".join(
        f'<EnumerationType name="{name}">{_items(items)}</EnumerationType>'
        for name, items in ENUMERATIONS.items()
    )


def _traits(entry: Entry) -> str:
    real = entry.kind == "Real" and not entry.kind3.startswith(("Int", "UInt"))
    variability = entry.variability or ("fixed" if entry.causality == "parameter" else "")
    if not variability:
        variability = "continuous" if real else "discrete"
    return (
        f'name={quoteattr(entry.name)} valueReference="{entry.reference}" causality="{entry.causality}" '
        f'variability="{variability}"'
    )


def _value(entry: Entry, kind: str) -> str:
    declared = f' declaredType="{kind.split()[1]}"' if " " in kind else ""
    unit = f" unit={quoteattr(entry.unit)}" if entry.unit else ""
    start = f' start="{entry.start}"' if entry.start or (entry.kind == "String") else ""
    return declared + unit + start


def _variable2(entry: Entry) -> str:
    tag = entry.kind.split()[0]
    return f"<ScalarVariable {_traits(entry)}><{tag}{_value(entry, entry.kind)}/></ScalarVariable>"


def _variable3(entry: Entry) -> str:
    kind = entry.kind3 or {"Real": "Float64", "Integer": "Int32"}.get(entry.kind, entry.kind)
    tag = kind.split()[0]
    if tag == "String":
        return f'<String {_traits(entry)}><Start value="{entry.start}"/></String>'
    return f"<{tag} {_traits(entry)}{_value(entry, kind)}/>"


def member(recipe: Recipe, fmi: int) -> str:
    """Where the code for this computer is in the archive."""
    suffix = ".dylib" if sys.platform == "darwin" else ".so"
    machine = {"arm64": "aarch64", "amd64": "x86_64"}.get(
        platform.machine().lower(), platform.machine().lower()
    )
    folder = f"{machine}-{sys.platform}"
    if fmi == 2 and machine == "x86_64":
        folder = f"{sys.platform}64"
    return f"binaries/{folder}/{recipe.name}{suffix}"


def compiled(recipe: Recipe, fmi: int, folder: Path) -> Path:
    """The code of a unit, built by ``cc`` into ``folder``."""
    library = folder / f"{recipe.name}.{fmi}.so"
    headers = Path(fmpy.__file__).parent / "c-code"
    sources = [*recipe.sources, MODELS / "fmi_shell.c", MODELS / "fmi_shell_rest.c"]
    subprocess.run(
        ["cc", "-std=gnu99", "-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", f"-DFMI={fmi}", *recipe.flags,
         "-I", str(MODELS), "-I", str(headers), "-o", str(library), *map(str, sources), "-lm"],
        check=True, timeout=60,
    )  # fmt: skip
    return library


def packed(path: Path, members: dict[str, bytes | str]) -> Path:
    """An archive of ``members`` at ``path``."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def built(recipe: Recipe, fmi: int, folder: Path, name: str = "unit.fmu") -> Path:
    """A whole unit at ``folder / name``."""
    folder.mkdir(parents=True, exist_ok=True)
    library = compiled(recipe, fmi, folder)
    members = {
        "modelDescription.xml": description(recipe, fmi),
        member(recipe, fmi): library.read_bytes(),
        "resources/about.txt": "an invented engine for tests\n",
        "documentation/index.html": "<p>not unpacked</p>\n",
    }
    return packed(folder / name, members)
