"""What a step study shows of a model, and what an item adds to it: the facts by which the item is judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.judge.facts import live_channels, session_facts
from leverproof.judge.model import SessionFacts
from leverproof.record.plain import from_plain, to_plain

Own = Mapping[tuple[int, str], ConductedRun]


@dataclass(frozen=True, slots=True)
class Facts:
    """What the step study showed; where it could not be flown ``words`` say why and nothing is known. ``lanes`` is how
    many engines the model has side by side."""

    step_u: dict[str, float] | None = None
    live: tuple[str, ...] = ()
    copies: dict[str, str] = field(default_factory=dict)
    known: bool = False
    words: str = ""
    lanes: int = 1


def facts_of_study(runs: Mapping[tuple[str, int, str], ConductedRun], arrangement: str) -> SessionFacts:
    """The facts that the runs of a step study show."""
    return session_facts(runs, arrangement=arrangement)


def plain_facts(facts: SessionFacts | None, words: str, lanes: int = 1) -> dict[str, Any]:
    """The facts as plain data for the store and for blocks."""
    if facts is None:
        return to_plain(Facts(words=words, lanes=lanes))  # type: ignore[no-any-return]
    return to_plain(Facts(facts.step_u, tuple(sorted(facts.live)), facts.copies, True, words, lanes))  # type: ignore[no-any-return]


def read_facts(plain: Mapping[str, Any] | None) -> Facts:
    """What :func:`plain_facts` wrote; nothing known without it."""
    return Facts() if plain is None else from_plain(Facts, plain, "facts")


def facts_of_item(
    study: Facts, planned: PlannedCase, runs: Own, said: Mapping[str, Any], arrangement: str
) -> SessionFacts:
    """The facts for judging one item. Channels that the study saw move need not be looked for again; copies are
    those of the study, which moves every lever, and only without one those of the item's own runs."""
    derived = str(said.get("derived_from", ""))
    jitter = float(said.get("jitter", 0.0))
    if not study.known:
        keyed = {(planned.case.id, *key): run for key, run in runs.items()}
        own = session_facts(keyed, arrangement=arrangement, derived_from=derived, jitter=jitter)
        return replace(own, step_u=study.step_u if own.step_u is None else own.step_u)
    live = frozenset(study.live)
    if any(j.channel and j.channel not in live for j in planned.judgements):
        live |= live_channels([run.history for run in runs.values()], study.step_u)
    return SessionFacts(study.step_u, live, study.copies, jitter, derived)
