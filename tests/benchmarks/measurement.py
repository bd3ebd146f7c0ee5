"""What every benchmark here shares: pairs taken in turn, the rows of the one table, and the command line.

A bench file has ``rows(asked)``, which yields :class:`Row` as it goes, and ends with ``sys.exit(command(...))``; what
runs them all starts each in a process of its own and reads the rows back from a file.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, MutableMapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

from tabulate import tabulate

Clock = Callable[[], float]
Work = Callable[[], object]
Taken = TypeVar("Taken")


class MissingError(Exception):
    """Something the bench needs is not installed; the words say what."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. ``value`` is the median of ``pairs`` pairs (or rounds), ``low`` to ``high`` their
    middle half, all in ``unit``; ``value`` is None when it could not be measured, and ``note`` says why. ``against`` is
    what it was measured beside, in the same run; ``clock`` what was read: ``processor``, ``wall`` or ``memory``. At
    most one of ``at_most`` and ``at_least`` is what is asked; a quick run is not ``judged``."""

    what: str
    value: float | None
    unit: str
    against: str = ""
    clock: str = "processor"
    low: float | None = None
    high: float | None = None
    pairs: int = 1
    at_most: float | None = None
    at_least: float | None = None
    note: str = ""
    judged: bool = True

    @property
    def met(self) -> bool | None:
        """Whether what is asked is met; None when nothing is asked. What was not measured does not meet it."""
        if not self.judged or (self.at_most is None and self.at_least is None):
            return None
        if self.value is None or math.isnan(self.value):
            return False
        return (self.at_most is None or self.value <= self.at_most) and (
            self.at_least is None or self.value >= self.at_least
        )


def worked(work: Work, clock: Clock = time.process_time) -> float:
    """Seconds of one call."""
    began = clock()
    work()
    return clock() - began


def taken_in_turn(sides: Sequence[Callable[[], Taken]], rounds: int) -> list[tuple[Taken, ...]]:
    """What each side took, ``rounds`` times, one side after the other; every other round the other way about, so that
    neither side always has the caches, the clock rate or the neighbours that the other has left."""
    found = []
    for number in range(rounds):
        order = range(len(sides)) if number % 2 == 0 else range(len(sides) - 1, -1, -1)
        taken = {side: sides[side]() for side in order}
        found.append(tuple(taken[side] for side in range(len(sides))))
    return found


def of_pairs(what: str, found: Sequence[float], unit: str, against: str = "", **more: object) -> Row:
    """The row of what each pair (or round) gave: the median, and the middle half, which one pair that something else on
    the machine disturbed does not widen."""
    low, middle, high = (
        statistics.quantiles(found, n=4, method="inclusive") if len(found) > 1 else 3 * [found[0]]
    )
    return Row(what, middle, unit, against, low=low, high=high, pairs=len(found), **more)  # type: ignore[arg-type]


def by_both_clocks(
    what: str, wall: Sequence[float], processor: Sequence[float], at_most: float, *, crowded: bool
) -> Iterator[Row]:
    """Seconds that a person waits for, by either clock. The aim is on wall time, unless other work crowds this machine:
    then on processor time, which is what one process would be waited for on a machine at rest."""
    yield of_pairs(what, wall, "s", clock="wall", at_most=None if crowded else at_most)
    yield of_pairs(what, processor, "s", at_most=at_most if crowded else None)


def shown(value: float | None, unit: str) -> str:
    """A number in three figures with its unit."""
    if value is None:
        return ""
    number = f"{value:,.0f}" if abs(value) >= 100.0 else f"{value:.3g}"
    return f"{number} {unit}".rstrip()


def asked_words(row: Row) -> str:
    limit = row.at_most if row.at_most is not None else row.at_least
    return "" if limit is None else f"{'<=' if row.at_most is not None else '>='} {shown(limit, row.unit)}"


def cells(row: Row) -> list[str]:
    """A row of the table in words: what, asked, measured, ratio to what, spread, clock, met."""
    spread = ""
    if row.low is not None and row.high is not None and row.pairs > 1:
        spread = f"{shown(row.low, '')}..{shown(row.high, '')} of {row.pairs}"
    met = {True: "yes", False: "NO", None: ""}[row.met]
    what = f"{row.what} ({row.note})" if row.note else row.what
    measured = "not measured" if row.value is None else shown(row.value, row.unit)
    return [what, asked_words(row), measured, row.against, spread, row.clock, met]


HEADS = [
    "what", "asked", "measured", "ratio to what, side by side in one run", "middle half of pairs", "clock", "met",
]  # fmt: skip


def table(rows: Iterable[Row], form: str = "simple") -> str:
    """All rows, as tabulate's ``form``."""
    return tabulate([cells(row) for row in rows], headers=HEADS, tablefmt=form, disable_numparse=True)


def to_plain(rows: Iterable[Row]) -> list[dict[str, object]]:
    """Rows for a JSON file, with whether each is met."""
    return [asdict(row) | {"met": row.met} for row in rows]


def from_plain(rows: Iterable[dict[str, object]]) -> list[Row]:
    """The rows of :func:`to_plain`."""
    return [Row(**{key: value for key, value in row.items() if key != "met"}) for row in rows]  # type: ignore[arg-type]


def as_installed(environment: MutableMapping[str, str], folder: str) -> None:
    """Commands started from here on find their modules compiled, as an installer leaves them: a checkout where bytecode
    is not to be written would compile them at every start. The first to need a module compiles it, into ``folder``."""
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    environment.setdefault("PYTHONPYCACHEPREFIX", folder)


def common_options(parser: argparse.ArgumentParser, repeats: int) -> None:
    """``--repeats``, ``--quick`` and ``--json``, the same for every bench."""
    parser.add_argument("--repeats", type=int, default=repeats, help=f"pairs or rounds; default {repeats}")
    parser.add_argument(
        "--quick", action="store_true", help="tiny sizes: shows that it runs, measures nothing"
    )
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the rows there too")


def over_processes(file: str, sizes: Sequence[str], processes: int) -> Iterator[Row]:
    """The rows of a bench file as several processes see them, one after the other: medians of theirs. ``sizes`` are
    words for each, beside ``--processes 1``."""
    for seen in zip(*(_of_a_child(file, sizes) for _ in range(processes)), strict=True):
        first = seen[0]
        values = [row.value for row in seen if row.value is not None]
        note = f"medians of {processes} processes"
        yield of_pairs(first.what, values, first.unit, first.against, at_most=first.at_most, note=note)


def _of_a_child(file: str, sizes: Sequence[str]) -> list[Row]:
    with TemporaryDirectory() as scratch:
        found = Path(scratch, "rows.json")
        words = [sys.executable, str(Path(file).resolve()), "--processes", "1", *sizes, "--json", str(found)]
        # Whether an aim is met is for the median to say.
        subprocess.run(words, stdout=subprocess.DEVNULL)
        return from_plain(json.loads(found.read_text("utf-8")))


def command(
    rows: Callable[[argparse.Namespace], Iterable[Row]],
    doc: str | None,
    repeats: int,
    options: Callable[[argparse.ArgumentParser], object] | None = None,
) -> int:
    """The command line of a bench file: measures, prints the table; 1 when an aim is missed, 2 when something it needs
    is missing (a quick run misses no aim)."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    common_options(parser, repeats)
    if options is not None:
        options(parser)
    asked = parser.parse_args()
    if asked.quick:
        asked.repeats = 1
    try:
        with TemporaryDirectory() as bytecode:
            as_installed(os.environ, bytecode)
            found = [replace(row, judged=not asked.quick) for row in rows(asked)]
    except MissingError as missing:
        print(f"not measured: {missing}", file=sys.stderr)
        return 2
    print(table(found))
    if asked.json is not None:
        asked.json.write_text(json.dumps(to_plain(found), indent=1), "utf-8")
    return 1 if any(row.met is False for row in found) else 0
