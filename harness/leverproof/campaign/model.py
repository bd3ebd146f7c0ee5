"""A campaign as data: what is asked, the blocks it falls into, and what came out. No input or output here.

An *item* is one case at one combination of swept surroundings and one sample of coefficients: the smallest thing that
is flown, kept, resumed and merged. What it gives depends on nothing but itself, so blocks, workers, shards and
interruptions leave no trace in the results.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from leverproof.cases.model import ReferenceCase
from leverproof.sheet.model import EngineSheet
from leverproof.stand.port import StandFile

DISTRIBUTIONS = ("uniform", "normal", "triangular")
NOMINAL = 0
"""The sample in which every coefficient is the model's own."""


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A coefficient of a model that is sampled, in the model's own name and unit. ``low`` and ``high`` bound every
    distribution; ``centre`` is the mean of a normal one or the mode of a triangular one, ``deviation`` the standard
    deviation of a normal one. ``source`` says where this spread comes from; ``assumption`` is an answer."""

    name: str
    distribution: str
    low: float
    high: float
    source: str
    centre: float | None = None
    deviation: float | None = None


@dataclass(frozen=True, slots=True)
class Model:
    """A model under test: its stand, the text of the stand file ("" for the embedded engine), the ids of the sheets it
    is held against, the coefficients that vary and the SHA-256 of its fingerprint. ``title`` is unique in a plan."""

    title: str
    stand: StandFile
    text: str
    sheets: tuple[str, ...]
    coefficients: tuple[Coefficient, ...] = ()
    fingerprint: str = ""
    defect: str | None = None


@dataclass(frozen=True, slots=True)
class Swept:
    """Values that a surrounding takes, in its canonical unit, in the order of the plan, each once."""

    name: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Plan:
    """A campaign as planned. ``sheets`` and ``cases`` by id; ``library`` holds the step study beside them.
    ``samples`` are drawn beside the nominal one for each model that has coefficients to sample. ``digest`` is that of
    everything the results depend on."""

    title: str
    seed: int
    models: tuple[Model, ...]
    sheets: Mapping[str, EngineSheet]
    cases: Mapping[str, ReferenceCase]
    swept: tuple[Swept, ...] = ()
    samples: int = 0
    study: ReferenceCase | None = None
    path: str = ""
    text: str = ""
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """One case at one point of the plan. ``model`` is the index in the plan, ``surroundings`` the swept ones that the
    case leaves free, ``sample`` the number of the draw (0: nominal). ``id`` is a digest of its content."""

    id: str
    model: int
    sheet: str
    case: str
    surroundings: Mapping[str, float] = field(default_factory=dict)
    sample: int = NOMINAL


@dataclass(frozen=True, slots=True)
class Block:
    """Items of one model and sheet that one worker flies together; ``seconds`` is what they will about take in model
    time; ``facts`` what the step study of its model and sheet showed. A block of no items is that study."""

    id: str
    model: int
    sheet: str
    items: tuple[Item, ...] = ()
    seconds: float = 0.0
    facts: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """One judgement of one case at one point: a row of the results.

    ``model`` is its title, ``point`` the label of the sweep point of the case ("" where it sweeps nothing, ``over the
    sweep`` for a judgement over it), ``surroundings`` and ``readings`` in canonical units. ``expected``, ``low`` and
    ``high`` are in ``unit``, None where the judgement has no such number; ``doubt`` is U95. ``margin`` counts
    tolerances, positive inside: (tolerance - excess) / tolerance; None where there is no number or no tolerance.
    ``trouble`` says in words why something could not be judged. ``readings`` are the readings of every run made there,
    ``{"run/reading": {channel: value}}``, on the first row of each case and point only. ``block`` is where it was
    flown, which is no part of the result."""

    item: str
    block: str
    model: str
    sheet: str
    case: str
    subject: str
    point: str
    sample: int
    surroundings: dict[str, float]
    coefficients: dict[str, float]
    judgement: str
    what: str
    weight: str
    basis: str
    unit: str
    verdict: str
    found: float | None = None
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    doubt: float | None = None
    margin: float | None = None
    self_referential: bool = False
    trouble: str = ""
    readings: dict[str, dict[str, float]] = field(default_factory=dict)
