"""An accepted run as plain data. Field names are the keys of the files, which hold nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Regression:
    """How far a channel may move and still count as the same: ``value`` in the channel's canonical unit and ``time``
    in seconds, both to either side, with the ``reason`` for them and the ``source`` of that."""

    value: float
    time: float
    unit: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class Block:
    """At most 240 points of a curve: rows of the time grid, rising, and the values there; linear between."""

    rows: tuple[int, ...]
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class HeldStep:
    """A step of a lever program as it was flown: the rows it took, and how a seek ended."""

    kind: str
    row: int
    end: int
    name: str = ""
    lever: str = ""
    ending: str = ""


@dataclass(frozen=True, slots=True)
class HeldRun:
    """A run: at which ``point`` of a sweep, SHA-256 of its lever program and of its samples, its ``rows`` of ``step``
    ticks, steps, readings (by name, channel) and curves (by channel). ``losses`` are curves that lie further from
    their samples than a third of their tolerance, and how far; ``lost`` the first row at which a channel was no
    finite number; ``jitter`` how sure an instant is (s)."""

    point: str
    program: str
    samples: str
    step: int
    rows: int
    ending: str
    steps: tuple[HeldStep, ...]
    readings: dict[str, dict[str, float]]
    curves: dict[str, tuple[Block, ...]]
    trouble: str = ""
    losses: dict[str, float] = field(default_factory=dict)
    lost: dict[str, int] = field(default_factory=dict)
    unsteady: dict[str, tuple[str, ...]] = field(default_factory=dict)
    jitter: float = 0.0


@dataclass(frozen=True, slots=True)
class HeldFinding:
    """What a judgement ``asked`` and ``found``: verdict and weight. ``uses`` are the readings it looks at, as
    ``RUN/READING/CHANNEL``."""

    verdict: str
    weight: str
    asked: str = ""
    found: str = ""
    uses: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """SHA-256 of a case in three parts: how it is flown, how it is judged, and its other words."""

    procedure: str
    judgements: str
    words: str


@dataclass(frozen=True, slots=True)
class HeldCase:
    """A case: what it asked, SHA-256 of the file of its histories ("" where it left none), why it did not apply, its
    findings by judgement and its runs by ``POINT/RUN`` with the point as two digits. Its ``subject`` is "" where a
    version held it that did not keep that."""

    asked: Asked
    histories: str = ""
    inapplicable: str = ""
    findings: dict[str, HeldFinding] = field(default_factory=dict)
    runs: dict[str, HeldRun] = field(default_factory=dict)
    subject: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The engine sheet that a run was judged by; ``sha256`` is of what it says, not of how it is written."""

    id: str
    title: str
    revision: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a run comes from. ``record`` is the SHA-256 of the record, ``fingerprint`` that of the model,
    ``date`` when the run was made, ``exit`` the code it ended with."""

    record: str
    date: str
    model: str
    model_version: str
    derived_from: str
    fingerprint: str
    stand: str
    sheet: Sheet
    suite: str
    seed: str
    leverproof: str
    grid_step: str
    defect: str
    ending: str
    exit: int
    deterministic: bool


@dataclass(frozen=True, slots=True)
class Baseline:
    """One accepted run. ``doubts`` are standard uncertainties of channels from the study of the grid step; ``sums``
    the SHA-256 of each case as it is held here; ``acceptance`` that of the log's line, without its sum of this."""

    format: int
    program: str
    version: int
    acceptance: str
    origin: Origin
    doubts: dict[str, float]
    tolerances: dict[str, Regression]
    sums: dict[str, str]
    cases: dict[str, HeldCase]


@dataclass(frozen=True, slots=True)
class Tracked:
    """What a judgement found at one point of a sweep, followed from version to version; it may be as far
    as ``limit`` from what is ``expected``. ``side`` is ``upper`` or ``lower`` where it may
    lie on one side as far off as it likes, "" where it is held from both."""

    found: float
    unit: str
    expected: float | None = None
    limit: float | None = None
    side: str = ""
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Version:
    """What is kept of every accepted run for good: the numbers that required judgements look at, to seven figures. Keys
    of ``judged`` are ``CASE/JUDGEMENT/POINT``, of ``readings`` ``CASE/RUN/READING/CHANNEL`` in the channel's canonical
    unit. ``asked`` is the SHA-256 of each case: numbers asked otherwise are not of one series."""

    format: int
    program: str
    version: int
    date: str
    sheet: str
    asked: dict[str, str]
    tolerances: dict[str, float]
    judged: dict[str, Tracked]
    readings: dict[str, float]


@dataclass(frozen=True, slots=True)
class Change:
    """What an acceptance changed against the one before, as its log tells it. ``compared`` is false where nothing
    could be compared; ``why`` then says why. ``first`` is what moved first, in words."""

    compared: bool
    why: str = ""
    readings: int = 0
    moved: int = 0
    cases: tuple[str, ...] = ()
    first: str = ""
    verdicts: tuple[str, ...] = ()
    new: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    not_compared: tuple[str, ...] = ()
    tolerances: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One line of the log: who accepted which run and why. ``failures`` are the required findings that fail in it,
    accepted ``despite`` them for a reason; ``fewer`` is the reason for which it holds fewer cases than the version
    before. ``baseline`` and ``numbers`` are SHA-256 of the two files as they were written, ``previous`` of the line
    before ("" for the first)."""

    format: int
    program: str
    version: int
    by: str
    why: str
    origin: Origin
    baseline: str
    numbers: str
    previous: str
    changed: Change | None = None
    failures: tuple[str, ...] = ()
    despite: str = ""
    fewer: str = ""
