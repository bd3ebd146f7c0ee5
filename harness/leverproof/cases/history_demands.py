"""Whether a judgement of a history against a reference demands something that its runs can show."""

from __future__ import annotations

from leverproof.cases.model import SCORES, TIMES, Judgement, Run
from leverproof.channels import CHANNELS
from leverproof.errors import InputError


def history_unit(judgement: Judgement) -> str:
    """Unit of what a history judgement measures."""
    if judgement.measure in TIMES:
        return "s"
    return "1" if judgement.measure in SCORES else CHANNELS[judgement.channel].unit


def check_history(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    """Raises :class:`InputError` for one that could not fail, or whose reference is none."""
    if bool(judgement.against) == (judgement.curve is not None):
        raise InputError("a reference is against (a run) or a curve", where, "give one of them", "demand")
    _check_tier(judgement, where)
    _check_measure(judgement, where)
    _check_times(judgement, runs, where)


def _check_tier(judgement: Judgement, where: str) -> None:
    """A tolerance says what kind of reference it is for; the same number means different things."""
    tier = judgement.tolerance.tier if judgement.tolerance is not None else ""
    at = f"{where}.tolerance.tier"
    if not tier:
        raise InputError(
            "a history is judged in one of three tiers", at, "validation, simulation or regression", "tier"
        )
    itself = bool(judgement.against) or judgement.basis == "baseline"
    if itself != (tier == "regression"):
        hint = "it is the model itself: regression" if itself else "it is not the model: validation or simulation"
        raise InputError(f"{tier!r} does not fit this reference", at, hint, "tier")


def _check_measure(judgement: Judgement, where: str) -> None:
    for key, given, measure in (
        ("time_tolerance", judgement.time_within is not None, "tube"),
        ("settled_within", judgement.band is not None, "settling"),
    ):
        if given != (judgement.measure == measure):
            raise InputError(f"{key} and the measure {measure!r} go together", f"{where}.{key}", "no default", "demand")
    if judgement.time_within is not None and judgement.time_within.absolute is None:
        raise InputError("a tube is so many seconds wide", f"{where}.time_tolerance", "give absolute", "demand")
    tolerance = judgement.tolerance
    if judgement.measure in SCORES and tolerance is not None and tolerance.percent is not None:
        raise InputError("a score is a part already", f"{where}.tolerance.percent", "give absolute", "demand")


def _check_times(judgement: Judgement, runs: dict[str, Run], where: str) -> None:
    """Time counts from the same lever movement in both, after the stabilised start and before the end."""
    begin, finish = judgement.between or ("", "")
    moves = []
    for name in filter(None, (judgement.run, judgement.against)):
        names = [step.name for step in runs[name].steps]
        at = names.index(judgement.since)
        if not names.index(begin) < at < names.index(finish):
            raise InputError(
                f"{judgement.since!r} does not lie between {begin!r} and {finish!r}",
                f"{where}.since",
                "increments count from the reading before the lever moves",
                "range",
            )
        moves.append(runs[name].steps[at])
    if len(moves) == 2 and moves[0] != moves[1]:
        raise InputError(
            f"{judgement.since!r} is not the same movement in both runs",
            f"{where}.since",
            "histories are set beside one another by the lever, never by the response",
            "demand",
        )
