"""Numbers over pressure altitude and engine speed, gathered a cell at a time in bounded room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from leverproof.channels import CHANNELS

ALTITUDE, SPEED = "pressure_altitude", "engine_speed"
SHOWN = (
    "brake_power", "manifold_pressure", "turbo_speed", "fuel_flow", "carburettor_air_temperature",
    "cylinder_head_temperature",
)  # fmt: skip
"""Readings of which surfaces are made, the ones that a pilot's chart of an engine shows."""
CELLS = 1024
FINEST = (4.0, 1.0)
"""Least sides of a cell: 4 ft and 1 rpm. Assumption: below what any sweep sets apart."""
TOGETHER = (250.0, 50.0)
"""Values this close to one another are one level: 250 ft and 50 rpm. Assumption: above what a governor or a draw of
off-point conditions leaves open, below the steps of a sweep."""
MOST_LEVELS = (24, 12)
_FIXED = 1 << 40
_FARTHEST = 1e6


@dataclass(slots=True)
class _Cell:
    """Sums in units of 2^-40, so that no order of adding changes anything."""

    count: int = 0
    failing: int = 0
    total: int = 0
    altitude: int = 0
    speed: int = 0
    low: float = math.inf
    high: float = -math.inf

    def take(self, other: _Cell) -> None:
        self.count += other.count
        self.failing += other.failing
        self.total += other.total
        self.altitude += other.altitude
        self.speed += other.speed
        self.low, self.high = min(self.low, other.low), max(self.high, other.high)


Place = tuple[int, int | None, int]
"""Number of the cell upwards and across, and of which reading (0 where there is one only)."""


@dataclass(slots=True)
class Grid:
    """Cells over altitude (ft) and, where it is known, engine speed (rpm). When they become too many, all become twice
    as wide; so their width depends on what came in and not on its order."""

    cells: dict[Place, _Cell] = field(default_factory=dict)
    width: int = 1
    names: list[str] = field(default_factory=list)

    def add(self, value: float, altitude: float, speed: float | None, *, name: str = "", failing: bool = False) -> None:
        """Adds one finite number."""
        if name not in self.names:
            self.names.append(name)
        across = None if speed is None else math.floor(speed / FINEST[1]) // self.width
        place = (math.floor(altitude / FINEST[0]) // self.width, across, self.names.index(name))
        cell = self.cells.get(place)
        if cell is None:
            cell = self.cells[place] = _Cell()
        cell.count += 1
        cell.failing += failing
        cell.total += _fixed(value)
        cell.altitude += _place(altitude)
        cell.speed += _place(speed or 0.0)
        if value < cell.low:
            cell.low = value
        if value > cell.high:
            cell.high = value
        if len(self.cells) > CELLS:
            self._widen()

    def _widen(self) -> None:
        self.width *= 2
        wider: dict[Place, _Cell] = {}
        for (up, across, name), cell in self.cells.items():
            place = (up // 2, None if across is None else across // 2, name)
            wider.setdefault(place, _Cell()).take(cell)
        self.cells = wider


def _fixed(value: float) -> int:
    whole = math.trunc(value)
    return whole * _FIXED + round((value - whole) * _FIXED)


@lru_cache(4096)
def _place(value: float) -> int:
    """:func:`_fixed` of an altitude or a speed, of which many numbers have the same."""
    return _fixed(value)


@dataclass(frozen=True, slots=True)
class Mean:
    """The numbers of one cell: their mean, least, greatest, how many, and how many of them are required and do not
    pass. ``altitude`` and ``speed`` are the indices of its levels."""

    altitude: int
    speed: int
    mean: float
    low: float
    high: float
    count: int
    failing: int


@dataclass(frozen=True, slots=True)
class Surface:
    """A number over ``altitudes`` (ft) and ``speeds`` (rpm; empty where engine speed was not swept). ``of`` is
    ``judgement`` (what was found by the judgement ``name``) or ``reading`` (the ``channel`` at reading ``name``)."""

    model: str
    sheet: str
    case: str
    of: str
    name: str
    channel: str
    unit: str
    altitudes: tuple[float, ...]
    speeds: tuple[float, ...]
    cells: tuple[Mean, ...]


Key = tuple[str, str, str, str, str, str, str]
"""Model, sheet, case, ``judgement`` or ``reading``, judgement or run, channel, unit."""


def surfaces(key: Key, grid: Grid) -> list[Surface]:
    """The surface of a judgement; of a run those of its readings, one for all of them together where they differ in
    engine speed. None where there are not two altitudes."""
    names = sorted(grid.names)
    whole = _surface(key, _parts(grid, grid.names), key[4])
    pooled = whole is not None and whole.speeds and not _doubled(grid, whole)
    if key[3] == "judgement" or len(names) < 2 or pooled:
        own = f"{key[4]}/{names[0]}" if key[3] == "reading" and len(names) == 1 else key[4]
        one = _surface(key, _parts(grid, grid.names), own)
        return [one] if one is not None else []
    each = (_surface(key, _parts(grid, [name]), f"{key[4]}/{name}") for name in names)
    return [one for one in each if one is not None]


def _parts(grid: Grid, names: Iterable[str]) -> list[tuple[Place, _Cell]]:
    wanted = {grid.names.index(name) for name in names}
    return sorted(((p, c) for p, c in grid.cells.items() if p[2] in wanted), key=lambda part: _order(part[1], part[0]))


def _order(cell: _Cell, place: Place) -> tuple[int, int, int, int]:
    return place[0], -1 if place[1] is None else place[1], cell.total, cell.count


def _doubled(grid: Grid, whole: Surface) -> bool:
    """Whether two readings of one run fall on one cell: then they are not one sweep of engine speed."""
    taken: dict[tuple[int, int], int] = {}
    for (_, across, name), cell in grid.cells.items():
        if across is None:
            return True
        place = (
            _nearest(_mean(cell.altitude, cell), whole.altitudes),
            _nearest(_mean(cell.speed, cell), whole.speeds),
        )
        if taken.setdefault(place, name) != name:
            return True
    return False


def _surface(key: Key, parts: Sequence[tuple[Place, _Cell]], name: str) -> Surface | None:
    altitudes = levels([_mean(c.altitude, c) for _, c in parts], TOGETHER[0], MOST_LEVELS[0])
    if len(altitudes) < 2:
        return None
    known = [_mean(c.speed, c) for (_, across, _), c in parts if across is not None]
    speeds = levels(known, TOGETHER[1], MOST_LEVELS[1]) if len(known) == len(parts) else ()
    cells = _gathered(parts, altitudes, speeds)
    if not _both_swept(cells, altitudes, speeds):
        speeds = ()
        cells = _gathered(parts, altitudes, speeds)
    told = tuple(
        Mean(up, across, cell.total / (_FIXED * cell.count), cell.low, cell.high, cell.count, cell.failing)
        for (up, across), cell in sorted(cells.items())
    )
    axes = tuple(round(a, 1) for a in altitudes), tuple(round(s, 1) for s in speeds)
    return Surface(*key[:4], name, key[5], key[6], *axes, told)


def _gathered(
    parts: Sequence[tuple[Place, _Cell]], altitudes: Sequence[float], speeds: Sequence[float]
) -> dict[tuple[int, int], _Cell]:
    cells: dict[tuple[int, int], _Cell] = {}
    for _, cell in parts:
        up = _nearest(_mean(cell.altitude, cell), altitudes)
        across = _nearest(_mean(cell.speed, cell), speeds) if speeds else 0
        cells.setdefault((up, across), _Cell()).take(cell)
    return cells


def _both_swept(cells: Mapping[tuple[int, int], _Cell], altitudes: Sequence[float], speeds: Sequence[float]) -> bool:
    """Whether engine speed was set apart from altitude, and did not only change with it: there are two levels of it,
    two thirds of all places are filled, and two altitudes hold several."""
    if len(speeds) < 2 or 3 * len(cells) < 2 * len(altitudes) * len(speeds):
        return False
    filled = [sum(up == i for up, _ in cells) for i in range(len(altitudes))]
    return sum(n > 1 for n in filled) > 1


def _mean(total: int, cell: _Cell) -> float:
    return total / (_FIXED * cell.count)


def _nearest(value: float, among: Sequence[float]) -> int:
    return min(range(len(among)), key=lambda i: (abs(among[i] - value), i))


def levels(values: Sequence[float], together: float, most: int) -> tuple[float, ...]:
    """The levels that values stand at: the middles of groups none of which is wider than ``together``, or as much wider
    as leaves at most ``most`` of them."""
    ordered = sorted(set(values))
    while True:
        groups: list[list[float]] = []
        for value in ordered:
            if groups and value - groups[-1][0] <= together:
                groups[-1].append(value)
            else:
                groups.append([value])
        if len(groups) <= most:
            return tuple(math.fsum(group) / len(group) for group in groups)
        together *= 2.0


def speed_of(readings: Mapping[str, Mapping[str, float]]) -> float | None:
    """The engine speed of a point all of whose readings agree on it, rpm."""
    found = [values[SPEED] for values in readings.values() if SPEED in values]
    if len(found) < len(readings) or not found or not all(map(math.isfinite, found)):
        return None
    return math.fsum(found) / len(found) if max(found) - min(found) <= TOGETHER[1] else None


def placeable(value: float | None) -> float | None:
    """An altitude in ft or a speed in rpm that can be on an axis; None for what no engine has ever seen."""
    return value if value is not None and abs(value) <= _FARTHEST else None


def unit_of(channel: str) -> str:
    """The canonical unit of a channel."""
    return CHANNELS[channel].unit
