"""What holding a run against a baseline gave, as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from leverproof.baseline.model import Acceptance, Origin

IDENTICAL, WITHIN, MOVED, NOT_COMPARABLE, NEW, MISSING, NOT_FLOWN, NOT_APPLICABLE = (
    "identical",
    "within tolerance",
    "moved",
    "not comparable",
    "new",
    "missing",
    "not in this run",
    "not applicable",
)
"""What may be said of a run or a case. Nothing is missed where a record was not asked for a case: it is then not in
this run."""

NEGATIVE = (MOVED, NOT_COMPARABLE, MISSING)


@dataclass(frozen=True, slots=True)
class Place:
    """A number that is another: at ``where`` (a reading's name, or the seconds of a sample), what it ``was`` and is
    now (``found``), how far that is beyond what time allows (``apart``), the ``tolerance`` and the unit of ``doubt``,
    all in ``unit``. ``time`` in seconds from the start of the run."""

    channel: str
    where: str
    time: float
    was: float
    found: float
    apart: float
    tolerance: float
    doubt: float
    unit: str

    @property
    def doubts(self) -> float | None:
        """How many units of doubt that is; None of a state, which is another or the same."""
        return self.apart / self.doubt if self.doubt > 0.0 else None

    @property
    def tolerances(self) -> float | None:
        """How many tolerances that is; None where nothing is tolerated."""
        return self.apart / self.tolerance if self.tolerance > 0.0 else None


@dataclass(frozen=True, slots=True)
class RunChecked:
    """One run: its standing; what moved first, and behind it what moved within half a second of that; readings and
    curves that left their tolerance (of each curve the farthest sample); other differences in words, those that decide
    (``told``) and those that do not (``noted``); of all numbers the one that moved by most tolerances; of each channel
    the number of readings that are not the same to the last digit (``differing``); and channels that no accepted
    run has (``fresh``), which are not compared."""

    run: str
    point: str
    standing: str
    why: str = ""
    first: tuple[Place, ...] = ()
    readings: tuple[Place, ...] = ()
    curves: tuple[Place, ...] = ()
    told: tuple[str, ...] = ()
    noted: tuple[str, ...] = ()
    largest: Place | None = None
    compared: int = 0
    differing: dict[str, int] = field(default_factory=dict)
    fresh: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Turned:
    """A finding with another verdict than before; ``worse`` where a required one passed and does not any more."""

    judgement: str
    weight: str
    was: str
    now: str
    worse: bool
    found_was: str = ""
    found: str = ""


@dataclass(frozen=True, slots=True)
class CaseChecked:
    """One case: standing, why it is not comparable, its runs and findings that turned."""

    case: str
    standing: str
    why: str = ""
    runs: tuple[RunChecked, ...] = ()
    turned: tuple[Turned, ...] = ()

    @property
    def negative(self) -> bool:
        """Whether the answer of the whole check is no because of this case."""
        return self.standing in NEGATIVE or any(turn.worse for turn in self.turned)


@dataclass(frozen=True, slots=True)
class FirstMove:
    """The channel that moved first: the one that did so in most of the runs that moved (``runs`` of ``of``), with the
    place where it is seen earliest. ``others`` are other channels that moved first somewhere, with their runs."""

    channel: str
    runs: int
    of: int
    case: str
    run: str
    point: str
    places: tuple[Place, ...]
    others: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class Checked:
    """The whole answer. ``refused`` says why nothing could be compared at all; ``same_samples`` that every history was
    recognised by its sum, before any comparison; ``remarks`` decide nothing."""

    record: str
    against: str
    acceptance: Acceptance
    origin: Origin
    refused: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    cases: tuple[CaseChecked, ...] = ()
    first: FirstMove | None = None
    same_samples: bool = False
    tolerances: dict[str, str] = field(default_factory=dict)

    @property
    def standing(self) -> str:
        """The answer in a word."""
        if self.refused:
            return NOT_COMPARABLE
        found = {case.standing for case in self.cases}
        for standing in (MOVED, NOT_COMPARABLE, MISSING):
            if standing in found:
                return standing
        if any(case.negative for case in self.cases):
            return MOVED
        if not found & {IDENTICAL, WITHIN}:
            return NOT_COMPARABLE
        return WITHIN if WITHIN in found else IDENTICAL

    @property
    def differing(self) -> dict[str, int]:
        """In how many readings each channel differs at all, also within its tolerance; the one with most first."""
        found: Counter[str] = Counter()
        for run in self._runs():
            found.update(run.differing)
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    @property
    def told(self) -> dict[str, int]:
        """What is otherwise than numbers say, in words, and in how many runs; what is so in most of them first."""
        return dict(Counter(words for run in self._runs() for words in run.told).most_common())

    def _runs(self) -> Iterator[RunChecked]:
        for case in self.cases:
            yield from case.runs

    @property
    def passed(self) -> bool:
        """Whether the run is what was accepted."""
        return self.standing in (IDENTICAL, WITHIN)
