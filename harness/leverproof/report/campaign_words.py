"""What a report of a campaign says in words, the same in every form of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from leverproof.campaign.model import NOMINAL, Outcome
from leverproof.campaign.ranks import LEAST_SAMPLES
from leverproof.campaign.shares import Share
from leverproof.campaign.summary import TOLERANCES, Draws, Summary, Worst
from leverproof.campaign.surfaces import Surface
from leverproof.channels import CHANNELS
from leverproof.judge.words import number
from leverproof.report.wording import amount, channel_words, count

TITLE = "Campaign"
SECTIONS = {
    "shares": "Share that passes",
    "margins": "Worst margins",
    "surfaces": "Over altitude and engine speed",
    "sensitivity": "What sampled coefficients decide",
    "troubles": "What could not be judged",
}
COUNTED = (
    "Required outcomes, one a judgement at each point. Passes that rest on the model itself are counted apart, as are "
    "advisory outcomes; what did not apply, was not run or was blocked by another failure counts as neither."
)
INTERVAL = (
    "The interval is Wilson's, 95 %. It takes outcomes as independent draws of what might have been flown; swept "
    "points of one case are not, so allow for at least so much."
)
MARGIN = (
    "The margin counts tolerances and is positive inside; where nothing is tolerated it counts doubts (U95) from the "
    "limit, in a table of its own. Each judgement of a model stands once, at its worst; what fails without a number "
    "stands first."
)
CELLS = (
    "Each number is the mean of all that was found at its place; from and to are given where it was not always "
    "the same."
)
RANKS = (
    f"Spearman's rank correlation of the coefficient with what was found, point by point (of at least {LEAST_SAMPLES} "
    "samples), and its mean; beyond chance allows for all correlations that were looked at, 95 %. It tells what moves "
    "a number, not whether the number is right."
)
DRAWS = "A sample passes if every required judgement of its model and sheet does, at every point that was judged."


def title(found: Summary) -> str:
    """The title of the report."""
    return f"{TITLE}: {found.title}" if found.title else TITLE


def headline(found: Summary) -> str:
    """The result in one sentence."""
    told = found.whole.share
    if not told.judged:
        return "No required outcome was judged."
    return f"{told.passed:,} of {count(told.judged, 'required outcome')} pass: {share_words(told)}."


def head(found: Summary) -> Iterator[str]:
    """What stands at the head, one sentence each."""
    yield f"{count(found.items, 'item')} flown, {count(found.outcomes, 'outcome')}"
    if found.plan:
        yield f"plan {found.plan[:16]}"
    yield from found.notes
    yield from found.left_out


def percent(part: float | None) -> str:
    """A share in per cent, one decimal; one that is not whole is never rounded to 0 or 100."""
    if part is None:
        return "-"
    shown = round(100.0 * part, 1)
    if shown in (0.0, 100.0) and 0.0 < part < 1.0:
        return "< 0.1 %" if part < 0.5 else "> 99.9 %"
    return f"{shown:.1f} %"


def interval(told: Share) -> str:
    """The interval of a share in per cent."""
    return f"{percent(told.low)} to {percent(told.high)}" if told.judged else "-"


def share_words(told: Share) -> str:
    """A share with its interval."""
    return f"{percent(told.passed / told.judged)} (95 % interval {interval(told)})" if told.judged else "-"


def verdict_counts(counts: Mapping[str, int]) -> str:
    """``3 fail, 1 error``: how many of each verdict but the plain pass; empty where all pass."""
    return ", ".join(f"{n:,} {verdict}" for verdict, n in counts.items() if verdict != "pass")


def margin_words(worst: Worst) -> str:
    """The margin with its sign; ``no number`` where none was measured."""
    value = worst.margin
    if value is None:
        return "no number"
    if math.isinf(value) or abs(value) >= 1e6:
        return "beyond all" if value < 0 else "more than 1,000,000"
    return f"{value:+,.2f}" if worst.scale == TOLERANCES and abs(value) < 100.0 else f"{value:+,.1f}"


def asked_words(outcome: Outcome) -> str:
    """What was expected, or the limits it had to stay in."""
    low, high = outcome.low, outcome.high
    if low is not None and high is not None:
        return f"{number(low)} to {amount(high, outcome.unit)}"
    if low is not None:
        return f"at least {amount(low, outcome.unit)}"
    if high is not None:
        return f"at most {amount(high, outcome.unit)}"
    return amount(outcome.expected, outcome.unit)


def place_words(outcome: Outcome) -> str:
    """Where it was: the point of the case's own sweep, the surroundings and the sample."""
    parts = [outcome.point] if outcome.point else []
    told = [_surrounding(name, value) for name, value in outcome.surroundings.items()]
    parts += [words for words in told if words and words not in outcome.point]
    if outcome.sample != NOMINAL:
        parts.append(f"sample {outcome.sample:,}")
    return ", ".join(dict.fromkeys(parts)) or "-"


def _surrounding(name: str, value: float) -> str:
    known = CHANNELS.get(name)
    unit = known.unit if known is not None else "1"
    if name == "pressure_altitude":
        return amount(value, unit)
    if not value and name in ("temperature_offset", "relative_humidity"):
        return ""
    if name == "temperature_offset":
        return f"{'+' if value > 0 else ''}{amount(value, unit)}"
    if name == "true_airspeed":
        return f"{amount(value, unit)} true"
    return f"{channel_words(name)} {amount(value, unit)}"


def surface_title(surface: Surface, *, model: bool = True) -> str:
    """What a surface shows, and of which case."""
    if surface.of == "reading":
        what = f"{channel_words(surface.channel)} at {surface.name.replace('/', ', ')}"
    else:
        what = f"found by {surface.name} ({channel_words(surface.channel)})"
    return f"{surface.case}: {what}{f', {surface.model}' if model else ''}"


def draws_words(draws: Draws) -> str:
    """How many samples of a model pass throughout."""
    told = draws.share
    of = f"{told.passed:,} of {count(told.judged, 'sample')}"
    return f"{draws.model} against {draws.sheet}: {of}, {share_words(told)}"


def names(some: tuple[str, ...], *, cut: bool) -> str:
    """Names one after the other, and that there are more."""
    return ", ".join(some) + (" and others" if cut else "")
