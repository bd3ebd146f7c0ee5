"""Findings and verdicts: what judging gives. Plain data, ready for the record."""

from __future__ import annotations

from dataclasses import dataclass, field

VERDICTS = (
    "pass", "conditional pass", "conditional fail", "fail", "inconclusive", "invalid run", "error", "flaky",
    "blocked", "deferred", "not applicable", "not run",
)  # fmt: skip
WEIGHTS = ("required", "advisory")


@dataclass(frozen=True, slots=True)
class Doubt:
    """One named part of the doubt in a number: standard uncertainty ``u`` in the judged unit, None when it
    was not determined. ``part`` is ``step study``, ``seek residual``, ``reference reading``, ``jitter``,
    ``gauge``, ``lever placing`` (both of a recording or of numbers written down), ``reading repeat``, ``two flyers``,
    ``level flight by hand`` (all of numbers written down), ``correction``, ``grid step`` (of an instant),
    ``interpolation`` (of a crossing) or ``fit`` (of an exponent)."""

    part: str
    u: float | None
    how: str = ""


@dataclass(frozen=True, slots=True)
class PointFinding:
    """The finding at one point of a sweep. ``excess`` is how far beyond the expectation (positive is worse),
    ``limit`` the tolerance it may use, ``w`` the guard band U95; all in ``unit``. ``note`` in plain words;
    ``tolerance_text`` says what a percentage is of and which of two tolerances applied."""

    label: str
    found: float | None
    expected: float | None
    unit: str
    excess: float | None
    limit: float
    w: float
    verdict: str
    doubts: tuple[Doubt, ...] = ()
    note: str = ""
    found_text: str = ""
    expected_text: str = ""
    tolerance_text: str = ""


TOLERANCES, UNMEASURED = "tolerances", "unmeasured"
UNNEEDED = "passes unexpectedly"


@dataclass(frozen=True, slots=True)
class Deferral:
    """A known deviation put off by ``owner`` until the day ``expires`` (ISO date, that day included). ``limit`` is how
    far beyond its expectation the finding may be in ``unit``: a unit, ``tolerances``, or ``unmeasured`` (a judgement of
    words, limit None)."""

    case: str
    judgement: str
    owner: str
    reason: str
    expires: str
    limit: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class Finding:
    """The result of one judgement: the worst of its points. ``found``, ``expected`` and ``tolerance`` are
    texts for people, from the deciding point; ``number``, ``limit``, ``w`` are that point's numbers.
    ``deferral_state`` is ``holds``, ``expired``, ``passes unexpectedly``, ``beyond its limit`` or ``not used``;
    ``loosened`` tells who made its tolerance wider and why."""

    case: str
    judgement: str
    subject: str
    what: str
    asked: str
    weight: str
    basis: str
    source: str
    verdict: str
    found: str = ""
    expected: str = ""
    tolerance: str = ""
    unit: str = ""
    number: float | None = None
    limit: float | None = None
    w: float | None = None
    note: str = ""
    why: str = ""
    self_referential: bool = False
    points: tuple[PointFinding, ...] = ()
    causes: tuple[str, ...] = ()
    deferral: Deferral | None = None
    deferral_state: str = ""
    loosened: str = ""


@dataclass(frozen=True)
class SessionFacts:
    """What a whole session shows about its channels. ``step_u`` is the step-study standard uncertainty per
    channel (None: not determined); ``live`` the channels seen to move; ``copies`` maps a channel to what it
    is a copy of; ``jitter`` seconds of clock jitter; ``derived_from`` the model's own words; ``recorded``
    whether it was flown by somebody and only found in a recording; ``noted`` whether a person wrote its readings down,
    so that there is no history."""

    step_u: dict[str, float] | None
    live: frozenset[str]
    copies: dict[str, str] = field(default_factory=dict)
    jitter: float = 0.0
    derived_from: str = ""
    recorded: bool = False
    noted: bool = False
