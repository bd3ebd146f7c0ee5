"""A comparison of records as plain data: what every form of the report is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

PASSES, FAILS, UNDECIDED, UNTESTABLE, SELF_REFERENTIAL = (
    "passes",
    "fails",
    "nothing decided",
    "untestable",
    "self-referential only",
)


@dataclass(frozen=True, slots=True)
class Subject:
    """What one model shows of one subject: a ``word`` for it, its required findings by verdict, and of an untestable
    subject what was missing."""

    word: str
    counts: Mapping[str, int]
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One subject over all models, in their order, and how many judgements tell the models apart, of how many that at
    least two of them could be judged by."""

    subject: str
    cells: tuple[Subject, ...]
    apart: int
    shared: int


@dataclass(frozen=True, slots=True)
class Held:
    """One judgement of one model: verdict ("" where the record does not ask it), what was found, and the excess of its
    deciding point in words."""

    verdict: str
    found: str = ""
    doubt: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One judgement over all models. ``relation`` is ``apart``, ``tie``, ``asked differently`` or ``one only``;
    ``words`` says it with numbers."""

    case: str
    judgement: str
    subject: str
    asked: str
    weight: str
    expected: tuple[str, ...]
    held: tuple[Held, ...]
    relation: str
    words: str


@dataclass(frozen=True, slots=True)
class Curve:
    """One model in a panel: points (pressure altitude ft, value), in order of altitude."""

    model: int
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Band:
    """A reference in a panel: low and high at heights, ``(ft, low, high)``; or, of a height at which a value is
    reached, one box ``(low ft, high ft, value)`` in ``heights``. ``models`` are those whose record holds it."""

    words: str
    models: tuple[int, ...]
    values: tuple[tuple[float, float, float], ...] = ()
    heights: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves of one quantity against altitude, of one case; ``without`` are models that have no two points there, with
    the reason."""

    title: str
    channel: str
    unit: str
    curves: tuple[Curve, ...]
    bands: tuple[Band, ...] = ()
    without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Audit:
    """Two records of one model: what was ``declared`` otherwise, what was found to differ (``effects``: names with
    numbers; ``cut`` more of them), and the ``conclusion`` in words. ``undeclared`` where numbers differ and nothing
    was declared."""

    one: int
    other: int
    declared: tuple[str, ...]
    effects: tuple[str, ...]
    cut: int
    undeclared: bool
    conclusion: str


@dataclass(frozen=True, slots=True)
class Model:
    """One record: its letter, name, and what stands at its head; ``ending`` in words."""

    letter: str
    name: str
    head: Mapping[str, str]
    ending: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that a report of several records says."""

    models: tuple[Model, ...]
    rows: tuple[Row, ...]
    judged: tuple[Judged, ...]
    panels: tuple[Panel, ...]
    audits: tuple[Audit, ...]
    notes: tuple[str, ...]
