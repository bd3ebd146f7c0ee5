"""The figures of a case: a still picture for every open finding, and the place where the page's script draws a plot
that can be zoomed, read and toggled."""

from __future__ import annotations

import json
import math

from leverproof.channels import CHANNELS
from leverproof.judge.model import Finding
from leverproof.judge.words import spoken, unit_of
from leverproof.record.layout import safe_name
from leverproof.report.html.drawing import Instant, Placed, chart, distances, key
from leverproof.report.html.evidence import (
    CaseEvidence,
    band_of,
    channel_of,
    difference_lines,
    instants_of,
    lines_of,
    point_labels,
    point_of,
    read_points,
    reference_line,
    runs_of,
    swept_lines,
    swept_words,
)
from leverproof.report.html.evidence import asked as judgement_of
from leverproof.report.html.markup import Markup, element
from leverproof.report.wording import channel_words, visible


def data_id(case_id: str) -> str:
    """The place of a case's numbers on the page."""
    return f"data-{safe_name(case_id)}"


def of_finding(case: CaseEvidence, finding: Finding, name: str) -> Markup | None:
    """The still figure of a finding with its caption, and the place of the plot that replaces it on a screen."""
    unit = finding.points[0].unit if finding.points else ""
    placed = [
        Placed(p.label or finding.judgement, p.excess, p.limit, p.w) for p in finding.points if p.excess is not None
    ]
    scale = distances(placed, unit, f"distance from the expectation: {finding.asked[:200]}")
    channel = channel_of(case, finding)
    curves = _curves(case, finding, channel) if channel else Markup("")
    if not (scale or curves):
        return None
    swept = swept_lines(case, finding, channel)
    over = chart(
        f"{spoken(channel)} as read",
        unit_of(channel),
        swept,
        instants=_places(finding),
        against=swept_words(case),
    )
    still = element("div", curves, class_="still-plot")
    live = _place(case, name, channel, point_of(case, finding), runs_of(judgement_of(case, finding)))
    return element(
        "figure",
        element("div", over, key(swept)) if over else None,
        element("figcaption", _caption(case, finding, channel)),
        still if curves else None,
        live if curves else None,
        scale or None,
        class_="both" if finding.what == "history" else None,
    )


def _curves(case: CaseEvidence, finding: Finding, channel: str) -> Markup:
    lines = lines_of(case, finding, channel)
    reference = reference_line(case, finding, lines, channel)
    shown = [reference, *lines] if reference is not None else lines
    states = CHANNELS[channel].states if channel in CHANNELS else ()
    unit, point = unit_of(channel), point_of(case, finding)
    instants = _merged([i for line in lines for i in instants_of(case, finding, point, line.label)])
    upper = chart(
        spoken(channel),
        unit,
        shown,
        instants=instants,
        read=read_points(case, finding, lines, channel),
        band=band_of(finding, channel),
        states=states,
    )
    apart = difference_lines(shown, channel)
    reach = max((float(line.times[-1]) for line in lines if line.times.size), default=0.0)
    lower = chart(f"difference in {spoken(channel)}", unit, apart, instants=instants, until=reach)
    return Markup(upper + (key(shown) if upper else "") + lower + (key(apart) if lower else ""))


def _places(finding: Finding) -> list[Instant]:
    """Where a crossing was found and where it was expected, on the axis of the sweep."""
    if finding.what != "crossing":
        return []
    ends = [(name, value) for p in finding.points[:1] for name, value in (("found", p.found), ("expected", p.expected))]
    return [Instant(name, value) for name, value in ends if value is not None and math.isfinite(value)]


def _merged(instants: list[Instant]) -> list[Instant]:
    """Readings of one name within a second of each other are drawn once."""
    out: list[Instant] = []
    for instant in sorted(instants, key=lambda i: (i.name, i.time)):
        if not out or out[-1].name != instant.name or instant.time - out[-1].time > 1.0:
            out.append(instant)
    return out


def _caption(case: CaseEvidence, finding: Finding, channel: str) -> str:
    label = point_labels(case).get(point_of(case, finding), "")
    where = f" at {label}" if label else ""
    return f"{channel_words(channel).capitalize()}{where}, readings marked" if channel else "Distance from expectation"


def explorer(case: CaseEvidence) -> Markup:
    """The plot of any channel of a case, made when it is first seen."""
    first = next((channel_of(case, f) for f in case.findings if channel_of(case, f)), "")
    live = _place(case, f"explore-{data_id(case.planned.case.id)}", first, next(iter(point_labels(case)), 0), ())
    return element(
        "details",
        element("summary", element("h4", "Plots: any channel, any run")),
        live,
        class_="fold screen",
    )


def _place(case: CaseEvidence, name: str, channel: str, point: int, runs: tuple[str, ...]) -> Markup:
    return element(
        "div",
        element(
            "p",
            "The plot needs the page's own script; the readings stand in the table below.",
            class_="noscript",
        ),
        class_="live",
        id=f"plot-{name}",
        data_from=data_id(case.planned.case.id),
        data_channel=channel,
        data_point=str(point),
        data_runs=json.dumps([visible(run) for run in runs]),
    )
