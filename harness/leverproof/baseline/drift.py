"""Numbers over accepted versions, and whether one drifts: inside its tolerance still, and on its way out of it.

Each version is held against the one before, so a model that moves a little every time passes every time. Seen over
versions it does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from leverproof.baseline.model import Acceptance, Tracked, Version
from leverproof.baseline.store import Kept

LEAST_VERSIONS = 3
"""A trend needs three points."""
LEAST_SHARE = 0.05
"""What moved by less than this share of its tolerance from the first version to the last is called still (assumption:
a twentieth of what is tolerated is nothing to act on)."""
FAR = 50
"""More versions than that to go is no drift that anybody would act on (assumption)."""
SURE = 2.0
"""A slope counts where it is more than this many of its standard errors (95 %, as in the decision rule)."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One version of a number: the number, and its band (None where it is open to that side)."""

    version: int
    found: float
    low: float | None
    high: float | None
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Drift:
    """How a number moves: ``slope`` a version in its unit, ``tolerances`` a version where it has a tolerance, over so
    many ``versions``; ``left`` is after how many more versions it is out of its band if that goes on, 0 where it is out
    already, None where it moves away from the edge or has none."""

    slope: float
    tolerances: float | None
    versions: int
    left: int | None


@dataclass(frozen=True, slots=True)
class Series:
    """A number over versions. ``kind`` is ``judged``, held against what the judgement expects, or ``reading``, held
    against the same reading in the first version asked alike. ``spots`` are the versions that asked the same on the
    same sheet, ``earlier`` those before that; ``uses`` names the readings of a judged number by their keys."""

    kind: str
    key: str
    case: str
    name: str
    point: str
    unit: str
    words: str
    spots: tuple[Spot, ...]
    earlier: tuple[Spot, ...] = ()
    drift: Drift | None = None
    uses: tuple[str, ...] = ()
    channel: str = ""


@dataclass(frozen=True)
class Past:
    """Everything that is drawn: the log, and every number of the last version, judged ones before readings."""

    folder: str
    log: tuple[Acceptance, ...]
    judged: tuple[Series, ...]
    readings: tuple[Series, ...]


def past(kept: Kept, versions: Sequence[Version]) -> Past:
    """The numbers of the accepted versions of a baseline, the first version first."""
    last = versions[-1]
    judged = tuple(_judged(key, kept, versions) for key in last.judged)
    readings = tuple(_reading(key, kept, versions) for key in last.readings)
    return Past(str(kept.folder), kept.log, judged, readings)


def drifting(found: Past) -> list[Series]:
    """The judged numbers that drift towards the edge of their band, the nearest to it first; then readings that have
    left the tolerance they have against their first version, or will."""

    def soonest(series: Series) -> tuple[int, float, str]:
        assert series.drift is not None and series.drift.left is not None
        return series.drift.left, -abs(series.drift.tolerances or 0.0), series.key

    both = (found.judged, found.readings)
    return [s for part in both for s in sorted(filter(_on_its_way, part), key=soonest)]


def _on_its_way(series: Series) -> bool:
    return series.drift is not None and series.drift.left is not None and series.drift.left <= FAR


def _alike(case: str, versions: Sequence[Version]) -> list[bool]:
    """Which versions asked a case as the last one does, without a break."""
    last = versions[-1]
    out: list[bool] = []
    for version in reversed(versions):
        same = version.sheet == last.sheet and version.asked.get(case) == last.asked.get(case)
        out.append(same and all(out))
    return out[::-1]


def _judged(key: str, kept: Kept, versions: Sequence[Version]) -> Series:
    case, judgement, point = key.split("/", 2)
    held = kept.baseline.cases.get(case)
    finding = held.findings.get(judgement) if held is not None else None
    alike = _alike(case, versions)
    spots = [
        (_spot(v.version, v.judged[key]), same) for v, same in zip(versions, alike, strict=True) if key in v.judged
    ]
    own = tuple(spot for spot, same in spots if same)
    last = versions[-1].judged[key]
    uses = tuple(_used(finding.uses, case, point, kept)) if finding is not None else ()
    return Series(
        "judged",
        key,
        case,
        judgement,
        point,
        last.unit,
        finding.asked if finding is not None else "",
        own,
        tuple(spot for spot, same in spots if not same),
        drift_of(own, last.limit),
        uses,
    )


def _spot(version: int, held: Tracked) -> Spot:
    expected, limit = held.expected, held.limit
    if expected is None or limit is None:
        return Spot(version, held.found, None, None, held.verdict)
    low = None if held.side == "upper" else expected - limit
    high = None if held.side == "lower" else expected + limit
    return Spot(version, held.found, low, high, held.verdict)


def _used(uses: Sequence[str], case: str, point: str, kept: Kept) -> Iterator[str]:
    """Keys of the readings that a judgement uses; those of its own point where it is judged point by point."""
    runs = kept.baseline.cases[case].runs
    own = {run.point for run in runs.values()}
    for use in uses:
        name, reading, channel = use.rsplit("/", 2)
        for key, run in runs.items():
            if key.partition("/")[2] == name and (point not in own or run.point == point):
                yield "/".join((case, key, reading, channel))


def _reading(key: str, kept: Kept, versions: Sequence[Version]) -> Series:
    case, run, reading, channel = _parted(key)
    alike = _alike(case, versions)
    found = [(v, same) for v, same in zip(versions, alike, strict=True) if key in v.readings]
    first = next(v for v, same in found if same)
    tolerance = versions[-1].tolerances.get(channel, math.nan)
    own = tuple(_against(v, key, first, tolerance) for v, same in found if same)
    earlier = tuple(Spot(v.version, v.readings[key], None, None) for v, same in found if not same)
    held = kept.baseline.cases[case].runs.get(run) if case in kept.baseline.cases else None
    return Series(
        "reading",
        key,
        case,
        f"{run.partition('/')[2]}, {reading}",
        held.point if held is not None else "",
        kept.baseline.tolerances[channel].unit if channel in kept.baseline.tolerances else "1",
        "",
        own,
        earlier,
        drift_of(own, tolerance if tolerance > 0.0 else None),
        channel=channel,
    )


def _parted(key: str) -> tuple[str, str, str, str]:
    case, _, rest = key.partition("/")
    run, reading, channel = rest.rsplit("/", 2)
    return case, run, reading, channel


def _against(version: Version, key: str, first: Version, tolerance: float) -> Spot:
    at = first.readings[key]
    band = (at - tolerance, at + tolerance) if tolerance > 0.0 else (None, None)
    return Spot(version.version, version.readings[key], *band)


def drift_of(spots: Sequence[Spot], tolerance: float | None) -> Drift | None:
    """How a number moves over versions, or None where it does not: fewer than three versions, less than a twentieth of
    its tolerance (of its way to the edge where it has none), or no slope that is sure. The slope is by least squares
    over the order of versions."""
    if len(spots) < LEAST_VERSIONS:
        return None
    values = [spot.found for spot in spots]
    slope, error = _slope(values)
    last = spots[-1]
    edges = [edge for edge in (last.low, last.high) if edge is not None]
    scale = tolerance if tolerance else max((abs(edge - values[0]) for edge in edges), default=0.0)
    if scale <= 0.0 or abs(values[-1] - values[0]) < LEAST_SHARE * scale or abs(slope) <= SURE * error:
        return None
    if not all(math.isfinite(number) for number in (slope, error, scale)):
        return None
    edge = last.high if slope > 0.0 else last.low
    left = None if edge is None else max(0, math.ceil((edge - last.found) / slope - 1e-9))
    return Drift(slope, slope / tolerance if tolerance else None, len(spots), left)


def _slope(values: Sequence[float]) -> tuple[float, float]:
    """Slope of a line through values at 0, 1, 2, ..., and its standard error."""
    count = len(values)
    middle, mean = (count - 1) / 2.0, sum(values) / count
    square = sum((index - middle) ** 2 for index in range(count))
    slope = sum((index - middle) * (value - mean) for index, value in enumerate(values)) / square
    rest = sum((value - mean - slope * (index - middle)) ** 2 for index, value in enumerate(values))
    return slope, math.sqrt(rest / (count - 2) / square)
