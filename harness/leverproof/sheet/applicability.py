"""Whether something applies to an engine on a stand, by sheet and channels, never by the name of a model."""

from __future__ import annotations

from dataclasses import dataclass, field

from leverproof.sheet.model import EngineSheet


@dataclass(frozen=True, slots=True)
class Applies:
    """When something applies. ``sheet`` maps a datum path to the accepted words (``hardware.boost_acts_on`` ->
    ("gate", "speed")); ``data`` are sheet data that must be present and ``without`` those that must not be;
    ``levers`` and ``channels`` must exist;
    ``capabilities`` such as ``deterministic`` or ``settable_surroundings``. ``lost`` says in plain words what is
    lost when it does not apply."""

    sheet: dict[str, tuple[str, ...]] = field(default_factory=dict)
    data: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    levers: tuple[str, ...] = ()
    channels: tuple[str, ...] = ()
    capabilities: tuple[str, ...] = ()
    lost: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """What is missing, in words, what is lost by it, and everything to supply for it to apply; "" where nothing can
    be, because the engine is of another kind."""

    missing: str
    lost: str
    supply: str = ""


_NEEDS_A_STEP = {
    "stepped": "the model runs on its own clock, and its steps are its own",
    "deterministic": "the model runs on its own clock, so no run is the same twice",
}


def refusal(
    applies: Applies,
    sheet: EngineSheet,
    *,
    inputs: frozenset[str],
    outputs: frozenset[str],
    capabilities: frozenset[str],
) -> Refusal | None:
    """Why something does not apply, or None when it does. ``inputs`` and ``outputs`` are the stand's channels."""
    missing = _missing(applies, sheet, inputs=inputs, outputs=outputs, capabilities=capabilities)
    if not missing:
        return None
    supply = "" if _another_kind(applies, sheet) else _supply(applies, sheet, inputs, outputs, capabilities)
    return Refusal(missing, applies.lost, supply)


def from_sheet(*paths: str) -> str:
    """What to do about data that the sheet does not give."""
    return f"{' and '.join(paths)} in the sheet, with a source"


def from_input(*names: str) -> str:
    """What to do about levers or surroundings that the stand does not take."""
    return f"{' and '.join(names)} as an input of the model; [channels] in the stand file if it is named otherwise"


def from_output(*names: str) -> str:
    """What to do about readings that the stand does not give."""
    return f"{' and '.join(names)} as a reading of the model; [channels] in the stand file if it is named otherwise"


def _another_kind(applies: Applies, sheet: EngineSheet) -> bool:
    """Whether the sheet says that this engine is none of those it is about."""
    differs = any(found and found not in words for path, words in applies.sheet.items() if (found := sheet.word(path)))
    return differs or any(path in sheet.data for path in applies.without)


def _missing(
    applies: Applies,
    sheet: EngineSheet,
    *,
    inputs: frozenset[str],
    outputs: frozenset[str],
    capabilities: frozenset[str],
) -> str:
    """The first thing that is missing, in words, or ""."""
    for path, words in applies.sheet.items():
        found = sheet.word(path)
        if found not in words:
            what = f"the sheet says {path} = {found}" if found else f"the sheet does not give {path}"
            return f"{what}; this needs {' or '.join(words)}"
    for path in applies.data:
        if path not in sheet.data:
            return f"the sheet does not give {path}"
    for path in applies.without:
        if path in sheet.data:
            return f"the sheet gives {path}, this is for sheets that do not"
    for lever in applies.levers:
        if lever not in sheet.levers:
            return f"the sheet lists no {lever} lever"
        if lever not in inputs:
            return f"the stand takes no {lever} lever"
    for name in applies.channels:
        if name not in outputs:
            return f"the stand gives no {name}"
    for name in applies.capabilities:
        if name not in capabilities and name in _NEEDS_A_STEP and "free_running" in capabilities:
            return _NEEDS_A_STEP[name]
        if name not in capabilities:
            return f"the stand is not {name.replace('_', ' ')}"
    return ""


def _supply(
    applies: Applies,
    sheet: EngineSheet,
    inputs: frozenset[str],
    outputs: frozenset[str],
    capabilities: frozenset[str],
) -> str:
    """All that would have to be there, so that nobody finds it out one run at a time."""
    parts: list[str] = []
    data = [path for path in applies.sheet if not sheet.word(path)]
    data += [path for path in applies.data if path not in sheet.data]
    if data:
        parts.append(from_sheet(*data))
    levers = [lever for lever in applies.levers if lever not in sheet.levers]
    if levers:
        names = " and ".join(f"[levers.{lever}]" for lever in levers)
        parts.append(f"{names} in the sheet, if the engine has {'it' if len(levers) == 1 else 'them'}")
    moved = [lever for lever in applies.levers if lever not in inputs]
    if moved:
        parts.append(from_input(*moved))
    read = [name for name in applies.channels if name not in outputs]
    if read:
        parts.append(from_output(*read))
    able = [name for name in applies.capabilities if name not in capabilities]
    if able:
        parts.append(f"a model that is, and says it is, {' and '.join(name.replace('_', ' ') for name in able)}")
    return "; ".join(parts)
