"""The option audit: records of one model beside each other, what was declared otherwise and what came out otherwise."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record, named
from leverproof.report.comparison.model import Audit
from leverproof.report.wording import amount, channel_words, count

MOST = 24
_SETTLES = ("model", "version", "derived_from", "grid_step", "adapter", "engine", "capabilities", "inputs", "outputs")
_TITLES = ("title", "build_hint")


@dataclass
class Told:
    """What one pair shows: of each channel the largest difference in words and the cases in which any was found;
    endings that differ; cases whose samples differ; and how many runs could be compared."""

    numbers: dict[str, tuple[float, str]] = field(default_factory=dict)
    cases: dict[str, set[str]] = field(default_factory=dict)
    endings: list[str] = field(default_factory=list)
    samples: set[str] = field(default_factory=set)
    compared: int = 0


def family(record: Record) -> str:
    """What two records must share to be of one model: the name it gives itself."""
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    return str(said.get("model") or named(record, "stand").get("title") or "")


def look(told: Told, case: str, one: Sequence[ConductedRun], other: Sequence[ConductedRun], *, exact: bool) -> None:
    """Adds one case: every reading of every run that both made. ``exact`` where the model repeats itself bit for bit;
    otherwise a reading counts as other from its channel's steadiness band on."""
    theirs = {run.program.key: run for run in other}
    for run in one:
        match = theirs.get(run.program.key)
        if match is None or run.program.start.keys() != match.program.start.keys():
            continue
        told.compared += 1
        place = " ".join(part for part in (case, run.program.key[2]) if part)
        if run.history.ending != match.history.ending:
            told.endings.append(f"{place}: ends {run.history.ending} and {match.history.ending}")
        if exact and not _same(run, match):
            told.samples.add(case)
        for reading in run.history.readings:
            against = match.history.reading(reading.name)
            for channel in reading.values.keys() & (against.values.keys() if against else set()):
                assert against is not None
                _number(told, case, f"{run.program.key[2]}, {reading.name}", channel,
                        reading.values[channel], against.values[channel], exact=exact)  # fmt: skip


def _number(told: Told, case: str, place: str, channel: str, a: float, b: float, *, exact: bool) -> None:
    known = CHANNELS.get(channel)
    least = 0.0 if exact or known is None else known.band
    apart = abs(a - b)
    if not apart > least or known is None or known.kind != "reading":
        return
    told.cases.setdefault(channel, set()).add(case)
    if channel not in told.numbers or apart > told.numbers[channel][0]:
        words = f"{amount(a, known.unit)} and {amount(b, known.unit)}"
        told.numbers[channel] = (apart, f"{amount(apart, known.unit)}: {words} in {case} ({place})")


def _same(run: ConductedRun, match: ConductedRun) -> bool:
    one, other = run.history, match.history
    return one.columns == other.columns and np.array_equal(one.data, other.data, equal_nan=True)


def audit(one: int, other: int, records: Sequence[Record], told: Told) -> Audit:
    """What the pair shows, in words."""
    declared = tuple(differences(records[one], records[other]))
    numbers = _ranked(told)
    effects = (*told.endings, *numbers)
    undeclared = not declared and bool(effects or told.samples)
    return Audit(
        one,
        other,
        declared,
        effects[:MOST],
        max(0, len(effects) - MOST),
        undeclared,
        _conclusion(declared, effects, told),
    )


def _conclusion(declared: Sequence[str], effects: Sequence[str], told: Told) -> str:
    if not told.compared:
        return "no run is in both records: nothing can be said"
    runs = count(told.compared, "run")
    if effects:
        ends = f"{count(len(told.endings), 'run')} that end otherwise, " if told.endings else ""
        words = f"{ends}{count(len(told.numbers), 'channel')} with other readings, over {runs} of both"
        return words if declared else f"undeclared: nothing was declared otherwise, and yet {words}"
    if told.samples:
        words = f"no reading differs over {runs}, but samples between them do, in {', '.join(sorted(told.samples)[:5])}"
        return words if declared else f"undeclared: {words}"
    if declared:
        return f"without effect: what was declared otherwise changes no number over {runs}"
    return f"the same: declared alike, and alike in every sample of {runs}"


def _ranked(told: Told) -> list[str]:
    """The channels that differ, the most telling first: by how many of its steadiness bands."""

    def bands(channel: str) -> float:
        apart, band = told.numbers[channel][0], CHANNELS[channel].band
        return -(apart / band if band else apart)

    return [
        f"{channel_words(channel)} in {count(len(told.cases[channel]), 'case')}, by at most {told.numbers[channel][1]}"
        for channel in sorted(told.numbers, key=bands)
    ]


def differences(one: Record, other: Record) -> Iterator[str]:
    """What two records say of themselves that is not the same, and may change numbers: one sentence each."""
    a, b = declared(one), declared(other)
    for key in dict.fromkeys((*a, *b)):
        if a.get(key) != b.get(key):
            yield f"{key}: {_shown(a.get(key))} and {_shown(b.get(key))}"


def declared(record: Record) -> dict[str, str]:
    """Everything that was declared about a run, as flat words: defect, seed, sheet, stand, what the model said."""
    header = record.header
    out = {
        "seed": _text(header.get("seed")),
        "defect": _text(header.get("defect")),
        "suite": _text(header.get("suite")),
        "leverproof": _text(header.get("version")),
        "sheet": _text(_sheet(record)),
    }
    stand, _ = _kept(record, "stand")
    if stand is not None:
        out |= {f"stand {key}": _text(value) for key, value in _flat(stand) if key.split(".")[0] not in _TITLES}
    else:
        out["stand kind"] = _text(named(record, "stand").get("kind"))
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    for key in _SETTLES:
        out |= {f"model says {name}": _text(value) for name, value in _flat({key: said.get(key)})}
    return out


def _sheet(record: Record) -> Any:
    """The sheet in what it says, so that two texts of one sheet are one."""
    document, text = _kept(record, "sheet")
    told = named(record, "sheet")
    name = f"{told.get('id')}, revision {told.get('revision')}"
    if document is None:
        return name
    import hashlib

    return f"{name}, SHA-256 {hashlib.sha256(text).hexdigest()[:12]}"


def _kept(record: Record, kind: str) -> tuple[dict[str, Any] | None, bytes]:
    """A kept file, read as TOML; None where there is none or it is not TOML."""
    for event in record.events:
        if event.kind == "input" and event.data.get("input") == kind:
            name = str(event.data.get("file", ""))
            content = (record.content(name) if name in record.names() else None) or b""
            try:
                return tomllib.loads(content.decode("utf-8")), content
            except (ValueError, RecursionError):
                return None, content
    return None, b""


def _flat(value: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, item in value.items():
        if isinstance(item, Mapping) and item:
            yield from _flat(item, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", item


def _text(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else json.dumps(to_plain(_plain(value)), sort_keys=True)


def _plain(value: Any) -> Any:
    """What TOML may hold, with dates as texts."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value if isinstance(value, str | int | float | bool) or value is None else str(value)


def _shown(text: str | None) -> str:
    if not text:
        return "nothing"
    return text if len(text) <= 80 else f"{text[:77]}..."
