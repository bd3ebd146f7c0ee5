"""Whether the words of the hardware and the data fit together."""

from __future__ import annotations

from leverproof.sheet.checks.remark import CONTRADICTION, WARNING, Remark, Remarks, number
from leverproof.sheet.model import EngineSheet

_TURBO = ("turbo_normalised", "two_stage")
_GEARED = ("geared_one_speed", "geared_two_speed", "two_stage")
_TABLES = {"geared_stage": _GEARED, "turbo": _TURBO}
_LEVERS = {
    "lever_link": ("hardware.link", ("mechanical", "interlock")),
    "coordination": ("hardware.coordination", ("automatic",)),
    "intercooler_shutter": ("hardware.intercooler", ("shutter",)),
    "blower_gear": ("hardware.arrangement", ("geared_two_speed", "two_stage")),
}
"""Levers that only some hardware has: the word that says so."""
_DATA = {
    "limits.turbo_speed": ("hardware.arrangement", _TURBO),
    "limits.turbo_speed_tolerance": ("hardware.overspeed_protection", ("governor",)),
    "light.on_above": ("hardware.arrangement", _TURBO),
    "link.above": ("hardware.link", ("procedure", "mechanical", "interlock")),
    "intercooler.effectiveness": ("hardware.intercooler", ("shutter", "fixed")),
    "split_lever.advantage": ("hardware.boost_acts_on", ("gate", "speed", "deck")),
    "lever_law.gate_exponent": ("hardware.boost_acts_on", ("gate",)),
    "lever_law.full_speed": ("hardware.boost_acts_on", ("speed",)),
    "lever_law.speed_exponent": ("hardware.boost_acts_on", ("speed",)),
    "lever_law.full_deck": ("hardware.boost_acts_on", ("deck",)),
}
"""Data that only some hardware has."""


def check_hardware(sheet: EngineSheet) -> Remarks:
    """Data and levers of hardware the engine does not have, and hardware without what it needs."""
    arrangement = sheet.word("hardware.arrangement")
    for table, known in _TABLES.items():
        for path in (path for path in sheet.data if path.startswith(f"{table}.") and arrangement not in known):
            yield _against(path, "hardware.arrangement", arrangement)
    for path, (word, known) in _DATA.items():
        if path in sheet.data and sheet.word(word) not in known:
            yield _against(path, word, sheet.word(word))
    for lever, (word, known) in _LEVERS.items():
        if lever in sheet.levers and sheet.word(word) not in known:
            yield _against(f"levers.{lever}", word, sheet.word(word))
    yield from _lacking(sheet)
    low, high = number(sheet, "geared_stage.ratio"), number(sheet, "geared_stage.ratio_high")
    if high is not None and arrangement == "geared_one_speed":
        yield _against("geared_stage.ratio_high", "hardware.arrangement", arrangement)
    if low is not None and high is not None and high <= low:
        yield Remark(
            "hardware",
            CONTRADICTION,
            "geared_stage.ratio_high",
            "high gear turns the wheel no faster than low",
            f"{high:g} against {low:g}",
            "definition",
        )


def fits(path: str, sheet: EngineSheet) -> bool:
    """Whether an engine with the hardware words of ``sheet`` can have this datum or lever (``levers.boost``) at all."""
    arrangement = sheet.word("hardware.arrangement")
    known = _TABLES.get(path.partition(".")[0])
    if known is not None and arrangement not in known:
        return False
    if path == "geared_stage.ratio_high":
        return arrangement == "geared_two_speed"
    if path.startswith("light."):
        asked = ("three_state",) if path in ("light.blinking_above", "light.off_above") else ("three_state", "plain")
        return sheet.word("hardware.light") in asked
    if path == "levers.boost":
        return sheet.word("hardware.boost_acts_on") not in ("", "none")
    word, accepted = _LEVERS.get(path.removeprefix("levers."), ("", ())) if path.startswith("levers.") else ("", ())
    word, accepted = _DATA.get(path, (word, accepted))
    return not word or sheet.word(word) in accepted


def _against(path: str, word: str, found: str) -> Remark:
    return Remark(
        "hardware",
        CONTRADICTION,
        path,
        f"{path} does not fit the hardware",
        f"{word} = {found}",
        "definition",
    )


def _lacking(sheet: EngineSheet) -> Remarks:
    """Hardware that is said to be there without the lever or number by which it shows."""
    boost, takeoff = "boost" in sheet.levers, sheet.word("hardware.takeoff_boost")
    if (boost and takeoff == "none") or (not boost and takeoff in ("back", "set")):
        words = "where the boost lever is at take-off contradicts the levers"
        told = f"hardware.takeoff_boost = {takeoff}, boost lever {'listed' if boost else 'not listed'}"
        yield Remark("hardware", CONTRADICTION, "hardware.takeoff_boost", words, told, "definition")
    if sheet.word("hardware.arrangement") in ("unsupercharged", "geared_one_speed", "geared_two_speed"):
        for key, idle in (("boost_acts_on", "none"), ("overspeed_protection", "none"), ("light", "none")):
            if sheet.word(f"hardware.{key}") != idle:
                yield _against(f"hardware.{key}", "hardware.arrangement", sheet.word("hardware.arrangement"))
    needs = (
        ("hardware.overspeed_protection", "governor", "limits.turbo_speed", "what its governor holds"),
        (
            "hardware.overspeed_protection",
            "governor",
            "limits.turbo_speed_tolerance",
            "how well its governor holds",
        ),
        ("hardware.light", "plain", "light.on_above", "when the light comes on"),
        ("hardware.light", "three_state", "light.on_above", "when the light comes on"),
        ("hardware.light", "three_state", "light.off_above", "when the light goes out"),
        ("hardware.link", "interlock", "link.above", "the height of the interlock"),
    )
    for word, value, path, what in needs:
        if sheet.word(word) == value and path not in sheet.data:
            yield Remark(
                "hardware",
                WARNING,
                word,
                f"the sheet does not say {what}: {path} is missing",
                f"{word} = {value}",
                "definition",
            )
