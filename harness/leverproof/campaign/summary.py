"""What a campaign showed: a fold over its outcomes, one after the other, that holds no more of them than it must.

The same outcomes give the same summary in whatever order they come: sums are exact, and where something is bounded
it is decided by what came in and never by when.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from leverproof.campaign.bounded import Least
from leverproof.campaign.model import NOMINAL, Outcome
from leverproof.campaign.ranks import Judged, Samples, Sensitivity
from leverproof.campaign.shares import (
    ADVISORY,
    REQUIRED,
    SELF_REFERENTIAL,
    Share,
    Tally,
    decided,
    share,
    standing,
)
from leverproof.campaign.surfaces import ALTITUDE, SHOWN, Grid, Key, Surface, placeable, speed_of, surfaces, unit_of
from leverproof.errors import ReproducibilityError
from leverproof.judge.endings import ENDINGS, FINDINGS
from leverproof.stand.guard import SEE_TRACEBACK

TOLERANCES, DOUBTS = "tolerances", "doubts"
_TABLES = tuple((kind, scale) for kind in (REQUIRED, ADVISORY, SELF_REFERENTIAL) for scale in (TOLERANCES, DOUBTS))
_Key = tuple[str, str, Judged]
_Rank = tuple[float, str, str]
GROUPS = ("model", "sheet", "subject", "case", "altitude")
MOST_GROUPS, MOST_SURFACES, MOST_TROUBLES, WORST = 1000, 2000, 200, 25
LONGEST = 300
_MOST_SAMPLES = 1 << 24
_BAND = 5000.0
_NUMBER = re.compile(r"-?\d[\d,.]*")


@dataclass(frozen=True, slots=True)
class Group:
    """The outcomes of one model, sheet, subject, case or band of altitude (``kind``): share of the required ones that
    pass, and how many there are by verdict among required, advisory and self-referential ones."""

    kind: str
    name: str
    share: Share
    required: dict[str, int]
    advisory: dict[str, int]
    self_referential: dict[str, int]


@dataclass(frozen=True, slots=True)
class Worst:
    """The outcome of one judgement that stands worst; ``standing`` is ``required``, ``advisory`` or
    ``self_referential``. ``margin`` is positive inside and counts what ``scale`` says: ``tolerances``, or ``doubts``
    (U95) from the limit where nothing is tolerated; None where there is no number."""

    standing: str
    scale: str
    margin: float | None
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why things could not be judged: the words (numbers in them may differ: these are the first of them in order), the
    verdict they led to, how many outcomes, and the first of the models and cases by name, with whether there are
    more."""

    text: str
    verdict: str
    outcomes: int
    models: tuple[str, ...]
    cases: tuple[str, ...]
    cut_models: bool = False
    cut_cases: bool = False


@dataclass(frozen=True, slots=True)
class Draws:
    """Samples of one model against one sheet: how many of those drawn pass every required judgement at every point."""

    model: str
    sheet: str
    share: Share


@dataclass(frozen=True, slots=True)
class Summary:
    """Everything a report of a campaign says. ``left_out`` are sentences on what was too much to be held."""

    title: str
    plan: str
    outcomes: int
    items: int
    whole: Group
    groups: tuple[Group, ...]
    draws: tuple[Draws, ...]
    worst: tuple[Worst, ...]
    surfaces: tuple[Surface, ...]
    sensitivities: tuple[Sensitivity, ...]
    sampled_below: int
    troubles: tuple[Trouble, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether anything required does not pass in a way that makes a campaign fail."""
        return any(ENDINGS[verdict].exit == FINDINGS for verdict in self.whole.required)


@dataclass
class _Why:
    outcomes: int = 0
    text: str = ""
    models: Least[str, list[int]] = field(default_factory=lambda: Least(8, list))
    cases: Least[str, list[int]] = field(default_factory=lambda: Least(8, list))


def summarise(outcomes: Iterable[Outcome], *, title: str = "", plan: str = "", notes: Iterable[str] = ()) -> Summary:
    """The summary of outcomes that come item by item, the rows of an item in their order. ``title`` and ``plan`` (its
    digest) are put at its head, ``notes`` are sentences of the caller's own."""
    fold = Fold()
    for outcome in outcomes:
        fold.add(outcome)
    return fold.summary(title=title, plan=plan, notes=tuple(notes))


class Fold:
    """Takes outcomes one after the other; :meth:`summary` may be asked at any time."""

    def __init__(self) -> None:
        self._outcomes = self._items = 0
        self._whole = Tally()
        self._by = [Least[tuple[float, str], Tally](MOST_GROUPS, Tally) for _ in GROUPS]
        self._worst: dict[_Key, tuple[_Rank, Outcome]] = {}
        self._grids: Least[Key, Grid] = Least(MOST_SURFACES, Grid)
        self._samples = Samples()
        self._troubles: Least[tuple[str, str], _Why] = Least(MOST_TROUBLES, _Why)
        self._draws: Least[tuple[str, str], bytearray] = Least(MOST_GROUPS, bytearray)
        self._item, self._speeds = "", dict[str, float | None]()

    def add(self, row: Outcome) -> None:
        """Adds one outcome. Raises :class:`leverproof.errors.ReproducibilityError` for a verdict that there is not."""
        if row.verdict not in ENDINGS:
            raise ReproducibilityError(f"the results of item {row.item} hold an unknown verdict {row.verdict!r}")
        kind = standing(row.weight, row.verdict, self_referential=row.self_referential)
        self._outcomes += 1
        if row.item != self._item:
            self._items += 1
            self._item, self._speeds = row.item, {}
        self._count(row, kind)
        self._rank(row, kind)
        self._draw(row)
        if row.trouble:
            self._explain(row)
        self._place(row)
        if row.sample != NOMINAL and row.found is not None:
            point = f"{row.point}|{sorted(row.surroundings.items())}"
            self._samples.add(_judged(row), point, row.sample, row.found, row.coefficients)

    def _count(self, row: Outcome, kind: str) -> None:
        self._whole.add(kind, row.verdict)
        altitude = placeable(row.surroundings.get(ALTITUDE))
        names = [(0.0, row.model), (0.0, row.sheet), (0.0, row.subject), (0.0, row.case), _band(altitude)]
        for held, name in zip(self._by, names, strict=True):
            tally = held.at(name) if name[1] else None
            if tally is not None:
                tally.add(kind, row.verdict)

    def _rank(self, row: Outcome, kind: str) -> None:
        """Keeps the worst outcome of each judgement; of all judgements the worst."""
        margin, scale = margin_of(row)
        if decided(row.verdict) is None or (margin is None and decided(row.verdict)):
            return
        rank = (-math.inf if margin is None else margin, row.item, row.point)
        key = (kind, scale, _judged(row))
        held = self._worst.get(key)
        if held is None or rank < held[0]:
            self._worst[key] = (rank, row)
            if held is None and len(self._worst) > 8 * WORST * len(_TABLES):
                self._worst = dict(self._sorted())

    def _sorted(self) -> list[tuple[_Key, tuple[_Rank, Outcome]]]:
        """The worst, at most :data:`WORST` of each standing and scale."""
        out = []
        for table in _TABLES:
            own = [entry for entry in self._worst.items() if entry[0][:2] == table]
            out += sorted(own, key=lambda entry: (entry[1][0][0], entry[0], entry[1][0]))[:WORST]
        return out

    def _draw(self, row: Outcome) -> None:
        """Notes of each sample whether anything required was judged (1), and whether any of it does not pass (2)."""
        counts = decided(row.verdict)
        if row.sample == NOMINAL or row.weight != REQUIRED or counts is None:
            return
        if row.self_referential and counts:
            return
        held = self._draws.at((row.model, row.sheet))
        if held is None or not 0 <= row.sample < _MOST_SAMPLES:
            return
        if row.sample >= len(held):
            held.extend(bytes(max(row.sample + 1 - len(held), 256)))
        held[row.sample] |= 1 if counts else 3

    def _explain(self, row: Outcome) -> None:
        text = _said(row.trouble)[:LONGEST]
        why = self._troubles.at((_NUMBER.sub("#", text), row.verdict))
        if why is not None:
            why.outcomes += 1
            why.text = min(why.text or text, text)
            why.models.at(row.model)
            why.cases.at(row.case)

    def _place(self, row: Outcome) -> None:
        altitude = placeable(row.surroundings.get(ALTITUDE))
        if row.readings:
            self._speeds[row.point] = placeable(speed_of(row.readings))
        if altitude is None:
            return
        head = (row.model, row.sheet, row.case)
        for name, values in row.readings.items():
            run, _, reading = name.rpartition("/")
            speed = placeable(values.get("engine_speed"))
            for channel in SHOWN:
                value = values.get(channel)
                if value is not None and math.isfinite(value):
                    grid = self._grids.at((*head, "reading", run, channel, unit_of(channel)))
                    if grid is not None:
                        grid.add(value, altitude, speed, name=reading)
        if row.found is not None and math.isfinite(row.found) and ENDINGS[row.verdict].passed is not None:
            grid = self._grids.at((*head, "judgement", row.judgement, row.what, row.unit))
            if grid is not None:
                speed = self._speeds.get(row.point)
                failing = row.weight == REQUIRED and decided(row.verdict) is False
                grid.add(row.found, altitude, speed, failing=failing)

    def summary(self, *, title: str = "", plan: str = "", notes: tuple[str, ...] = ()) -> Summary:
        """The summary of what was added so far."""
        groups = [
            _group(kind, name[1], tally)
            for kind, held in zip(GROUPS, self._by, strict=True)
            for name, tally in held.items()
        ]
        made = [surface for key, grid in self._grids.items() for surface in surfaces(key, grid)]
        return Summary(
            title=title,
            plan=plan,
            outcomes=self._outcomes,
            items=self._items,
            whole=_group("campaign", title, self._whole),
            groups=tuple(groups),
            draws=tuple(_draws(*key, held) for key, held in self._draws.items()),
            worst=tuple(Worst(key[0], key[1], margin_of(row)[0], row) for key, (_, row) in self._sorted()),
            surfaces=tuple(made),
            sensitivities=self._samples.sensitivities(),
            sampled_below=self._samples.limit,
            troubles=tuple(sorted((_trouble(key[1], why) for key, why in self._troubles.items()), key=_most)),
            left_out=tuple(self._left_out()),
            notes=notes,
        )

    def _left_out(self) -> list[str]:
        out = [
            f"the table by {kind} names the first {MOST_GROUPS:,} only; the others are in the whole"
            for kind, held in zip(GROUPS, self._by, strict=True)
            if held.left_out
        ]
        if self._grids.left_out:
            out.append(f"more than {MOST_SURFACES:,} surfaces: the first by model, sheet and case are given")
        if self._samples.left_out:
            out.append("rank correlations are of the first judgements by name: there are too many points for all")
        if self._troubles.left_out:
            out.append(f"more than {MOST_TROUBLES} kinds of trouble: the first by their words are given")
        return out


def margin_of(row: Outcome) -> tuple[float | None, str]:
    """The margin of an outcome and what it counts, see :class:`Worst`."""
    if row.margin is not None and not math.isnan(row.margin):
        return row.margin, TOLERANCES
    if row.found is None or not math.isfinite(row.found) or not row.doubt or not math.isfinite(row.doubt):
        return None, TOLERANCES
    inside = [row.found - row.low] if row.low is not None else []
    inside += [row.high - row.found] if row.high is not None else []
    return (min(inside) / row.doubt, DOUBTS) if inside else (None, TOLERANCES)


def _judged(row: Outcome) -> Judged:
    return row.model, row.sheet, row.case, row.judgement


def _band(altitude: float | None) -> tuple[float, str]:
    """The band of 5,000 ft that an altitude lies in, and its name; no name where there is no altitude."""
    if altitude is None:
        return 0.0, ""
    low = math.floor(altitude / _BAND) * _BAND
    return low, f"{low:,.0f} to {low + _BAND:,.0f} ft"


def _said(trouble: str) -> str:
    """What went wrong, without the traceback of a model's exception: that is in the results."""
    words, _, below = trouble.partition("\n")
    if below and SEE_TRACEBACK in words:
        return words.replace(SEE_TRACEBACK, "the traceback is in the results")
    return trouble.replace("\n", "; ")


def _group(kind: str, name: str, tally: Tally) -> Group:
    return Group(kind, name, tally.share(), *(tally.verdicts(k) for k in (REQUIRED, ADVISORY, SELF_REFERENTIAL)))


def _draws(model: str, sheet: str, held: bytearray) -> Draws:
    return Draws(model, sheet, share(held.count(1), len(held) - held.count(0)))


def _trouble(verdict: str, why: _Why) -> Trouble:
    models, cases = (tuple(name for name, _ in held.items()) for held in (why.models, why.cases))
    return Trouble(why.text, verdict, why.outcomes, models, cases, why.models.left_out, why.cases.left_out)


def _most(trouble: Trouble) -> tuple[bool, int, str, str]:
    """What does not pass first, then the most frequent."""
    return decided(trouble.verdict) is not False, -trouble.outcomes, trouble.text, trouble.verdict
