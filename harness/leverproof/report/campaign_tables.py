"""The tables of a report of a campaign, as texts: terminal, Markdown and page show the same cells."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from leverproof.campaign.shares import ADVISORY, REQUIRED, SELF_REFERENTIAL, decided
from leverproof.campaign.summary import DOUBTS, GROUPS, TOLERANCES, Group, Summary, Worst
from leverproof.campaign.surfaces import SHOWN, Mean, Surface
from leverproof.judge.words import number
from leverproof.report.campaign_words import (
    asked_words,
    interval,
    margin_words,
    names,
    percent,
    place_words,
    surface_title,
    verdict_counts,
)
from leverproof.report.wording import amount, channel_words, count

LINES = 6
"""Curves that one figure holds."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of texts with a caption; ``numbers`` are the columns whose cells are numbers."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Curves:
    """Surfaces without engine speed that belong on one drawing: one number (``what`` it is), one case, several
    models."""

    title: str
    what: str
    unit: str
    curves: tuple[Surface, ...]


def share_tables(found: Summary) -> Iterator[Table]:
    """Shares of the whole, and by each kind of group in which there is more than one."""
    for kind, groups in grouped(found):
        yield share_table(kind, groups)


def grouped(found: Summary) -> Iterator[tuple[str, list[Group]]]:
    """The groups of each kind that tell something: the models; others where there are several; sheets where they are
    not one for each model."""
    models = [group for group in found.groups if group.kind == GROUPS[0]]
    for kind in GROUPS:
        groups = ordered(kind, [group for group in found.groups if group.kind == kind])
        same = kind == "sheet" and sorted(map(_counts, groups)) == sorted(map(_counts, models))
        if groups and (kind == GROUPS[0] or len(groups) > 1) and not same:
            yield kind, groups


def _counts(group: Group) -> str:
    return str((group.required, group.advisory, group.self_referential))


def share_table(kind: str, groups: Sequence[Group]) -> Table:
    """The share of each group."""
    rows = [
        (
            group.name,
            f"{group.share.passed:,} of {group.share.judged:,}",
            percent(group.share.passed / group.share.judged) if group.share.judged else "-",
            interval(group.share),
            verdict_counts(group.required) or "-",
            _apart(group),
        )
        for group in groups
    ]
    heads = (kind, "pass", "share", "95 % interval", "not a plain pass", "counted apart")
    return Table(f"By {kind}", heads, tuple(rows), frozenset((1, 2, 3)))


def ordered(kind: str, groups: Sequence[Group]) -> list[Group]:
    """Groups, the worst first where they are not in an order of their own."""
    return list(groups) if kind == "altitude" else sorted(groups, key=_worst_first)


def _worst_first(group: Group) -> tuple[float, str]:
    told = group.share
    return (told.passed / told.judged if told.judged else 2.0), group.name


def _apart(group: Group) -> str:
    told = [(decided(verdict), n) for verdict, n in group.advisory.items()]
    judged, own = sum(n for d, n in told if d is not None), sum(group.self_referential.values())
    parts = [f"advisory {sum(n for d, n in told if d):,} of {judged:,}"] if judged else []
    parts += [f"self-referential {own:,}"] if own else []
    return ", ".join(parts) or "-"


_STANDINGS = {
    REQUIRED: "Required",
    ADVISORY: "Advisory: never decides the ending",
    SELF_REFERENTIAL: "Self-referential: no evidence of its own",
}


def worst_tables(found: Summary) -> Iterator[tuple[str, Table]]:
    """The outcomes with the least margins: a table for each standing and scale that occurs, with its standing."""
    for standing, words in _STANDINGS.items():
        for scale in (TOLERANCES, DOUBTS):
            some = [worst for worst in found.worst if (worst.standing, worst.scale) == (standing, scale)]
            if some:
                yield standing, _worst_table(found, some, f"{words}, in {scale}")


def _worst_table(found: Summary, some: Sequence[Worst], caption: str) -> Table:
    sheets = _sheets(found)
    rows = [
        (
            f"{o.case}/{o.judgement}",
            f"{o.model}, {o.sheet}" if sheets[o.model] > 1 else o.model,
            place_words(o),
            margin_words(worst),
            o.verdict,
            amount(o.found, o.unit),
            asked_words(o),
            amount(None if o.doubt is None else float(f"{o.doubt:.2g}"), o.unit),
        )
        for worst in some
        for o in (worst.outcome,)
    ]
    heads = ("judgement", "model", "point", "margin", "verdict", "found", "asked", "doubt (U95)")
    return Table(caption, heads, tuple(rows), frozenset((3, 5, 6, 7)))


def _sheets(found: Summary) -> Counter[str]:
    """How many sheets each model is held against."""
    pairs = {(w.outcome.model, w.outcome.sheet) for w in found.worst}
    return Counter(model for model, _ in pairs)


def draws_table(found: Summary) -> Table:
    """How many of the samples drawn pass throughout."""
    rows = [
        (d.model, d.sheet, f"{d.share.passed:,} of {d.share.judged:,}",
         percent(d.share.passed / d.share.judged) if d.share.judged else "-", interval(d.share))
        for d in found.draws
    ]  # fmt: skip
    return Table("Samples that pass throughout", ("model", "sheet", "samples", "share", "95 % interval"), tuple(rows),
                 frozenset((2, 3, 4)))  # fmt: skip


def sensitivity_table(found: Summary, most: int) -> Table:
    """The largest rank correlations."""
    rows = [
        (
            s.coefficient,
            f"{s.case}/{s.judgement}",
            s.model,
            f"{s.correlation:+.2f}",
            f"{s.least:+.2f} to {s.greatest:+.2f}" if s.points > 1 else "-",
            f"{s.samples:,}",
            f"{s.points:,}",
            "yes" if s.beyond_chance else "no",
        )
        for s in found.sensitivities[:most]
    ]
    heads = (
        "coefficient",
        "judgement",
        "model",
        "correlation",
        "over points",
        "samples",
        "points",
        "beyond chance",
    )
    return Table("Rank correlations", heads, tuple(rows), frozenset((3, 4, 5, 6)))


def trouble_table(found: Summary) -> Table:
    """Why things could not be judged, the most frequent first."""
    rows = [
        (
            f"{t.outcomes:,}",
            t.verdict,
            t.text,
            names(t.cases, cut=t.cut_cases),
            names(t.models, cut=t.cut_models),
        )
        for t in found.troubles
    ]
    return Table("Troubles", ("outcomes", "verdict", "what was said", "cases", "models"), tuple(rows), frozenset((0,)))


def charts(found: Summary) -> list[Surface]:
    """The surfaces over altitude and engine speed, the most telling first."""
    return sorted((s for s in found.surfaces if s.speeds), key=_telling)


def curves(found: Summary) -> list[Curves]:
    """The other surfaces, those of one number together, the most telling first."""
    single = sorted((s for s in found.surfaces if not s.speeds), key=_number)
    out = []
    for _, group in groupby(single, key=_number):
        own = list(group)
        for start in range(0, len(own), LINES):
            some = tuple(own[start : start + LINES])
            what = channel_words(some[0].channel) if some[0].of == "reading" else "found"
            out.append(Curves(surface_title(some[0], model=len(some) == 1), what, some[0].unit, some))
    return sorted(out, key=lambda c: min(_telling(s) for s in c.curves))


def _number(surface: Surface) -> tuple[str, ...]:
    return surface.case, surface.of, surface.name, surface.channel, surface.unit


def _telling(surface: Surface) -> tuple[float, int, tuple[str, ...]]:
    """What does not pass stands first, then what was read, by its channel."""
    shown = sum(cell.count for cell in surface.cells)
    failing = sum(cell.failing for cell in surface.cells)
    rank = SHOWN.index(surface.channel) if surface.of == "reading" else len(SHOWN)
    return -failing / shown, rank, (*_number(surface), surface.model, surface.sheet)


def chart_table(surface: Surface) -> Table:
    """A surface as a table: altitudes down, the highest first, engine speeds across."""
    places = {(cell.altitude, cell.speed): cell for cell in surface.cells}
    heads = ("pressure altitude", *(amount(speed, "rpm") for speed in surface.speeds))
    rows = [
        (amount(altitude, "ft"), *(cell_words(places.get((up, i))) for i in range(len(surface.speeds))))
        for up, altitude in reversed(list(enumerate(surface.altitudes)))
    ]
    caption = f"{surface_title(surface)}, {surface.unit}" if surface.unit != "1" else surface_title(surface)
    return Table(caption, heads, tuple(rows), frozenset(range(1, len(heads))))


def curve_table(figure: Curves) -> Table:
    """Curves as a table: altitudes down, the highest first, models across."""
    heights = sorted({h for s in figure.curves for h in s.altitudes}, reverse=True)
    at = [{s.altitudes[c.altitude]: c for c in s.cells} for s in figure.curves]
    rows = [(amount(h, "ft"), *(cell_words(own.get(h)) for own in at)) for h in heights]
    caption = f"{figure.title}, {figure.unit}" if figure.unit != "1" else figure.title
    heads = ("pressure altitude", *(curve_name(s, figure) for s in figure.curves))
    return Table(caption, heads, tuple(rows), frozenset(range(1, len(heads))))


def curve_name(surface: Surface, figure: Curves) -> str:
    """Model, and the sheet where one model is held against several."""
    several = len({s.sheet for s in figure.curves}) > 1
    return f"{surface.model}, {surface.sheet}" if several else surface.model


def cell_words(cell: Mean | None) -> str:
    """The mean, its spread where there is one, and how many do not pass."""
    if cell is None:
        return ""
    text = number(cell.mean)
    low, high = number(cell.low), number(cell.high)
    if low != high:
        text += f" ({low} to {high})"
    return f"{text}, {count(cell.failing, 'does', 'do')} not pass" if cell.failing else text
