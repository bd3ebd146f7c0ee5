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
    """What is missing, in words, and what is lost by it."""

    missing: str
    lost: str


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
    for path, words in applies.sheet.items():
        found = sheet.word(path)
        if found not in words:
            what = f"the sheet says {path} = {found}" if found else f"the sheet does not give {path}"
            return Refusal(f"{what}; this needs {' or '.join(words)}", applies.lost)
    for path in applies.data:
        if path not in sheet.data:
            return Refusal(f"the sheet does not give {path}", applies.lost)
    for path in applies.without:
        if path in sheet.data:
            return Refusal(f"the sheet gives {path}, this is for sheets that do not", applies.lost)
    for lever in applies.levers:
        if lever not in sheet.levers:
            return Refusal(f"the sheet lists no {lever} lever", applies.lost)
        if lever not in inputs:
            return Refusal(f"the stand takes no {lever} lever", applies.lost)
    for name in applies.channels:
        if name not in outputs:
            return Refusal(f"the stand gives no {name}", applies.lost)
    for name in applies.capabilities:
        if name not in capabilities and name in _NEEDS_A_STEP and "free_running" in capabilities:
            return Refusal(_NEEDS_A_STEP[name], applies.lost)
        if name not in capabilities:
            return Refusal(f"the stand is not {name.replace('_', ' ')}", applies.lost)
    return None
