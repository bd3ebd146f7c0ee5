"""The readings behind the plots of a case: every channel at every stabilised point, numbers under one another."""

from __future__ import annotations

import math

from leverproof.channels import CHANNELS
from leverproof.conduct.resolve import judged_channels
from leverproof.history import History
from leverproof.judge.words import state_word, unit_of
from leverproof.report.html.evidence import CaseEvidence, point_labels
from leverproof.report.html.markup import Markup, element, table
from leverproof.report.wording import channel_words
from leverproof.timegrid import TICKS_PER_SECOND


def readings_table(case: CaseEvidence) -> Markup:
    """One row a reading; the judged channels first. A run without readings shows its last sample."""
    held = [h for h in case.histories.values() if h.data.shape[0]]
    judged = {name for j in case.planned.case.judgements for name in judged_channels(j)}
    columns = dict.fromkeys(name for h in held for name in h.columns)
    names = sorted(columns, key=lambda name: name not in judged)
    labels = point_labels(case)
    several = len(labels) > 1
    rows = [
        [*([labels[point] or str(point)] if several else []), run, name, _n(f"{time:.2f}"),
         *(_n(_shown(n, values.get(n)), "" if n in judged else "more") for n in names)]
        for (point, run), history in case.histories.items()
        for name, time, values in _rows(history)
    ]  # fmt: skip
    heads = [
        *(["point"] if several else []),
        "run",
        "reading",
        element("th", "time, s", class_="n", scope="col"),
    ]
    heads += [element("th", _head(n), class_="n" if n in judged else "n more", scope="col") for n in names]
    return table(heads, rows, caption=f"Readings: {case.planned.case.id}", class_="readings")


def _rows(history: History) -> list[tuple[str, float, dict[str, float]]]:
    step = history.grid.step / TICKS_PER_SECOND
    if history.readings:
        return [(r.name, r.row * step, r.values) for r in history.readings]
    if not history.data.shape[0]:
        return []
    last = history.data.shape[0] - 1
    values = dict(zip(history.columns, map(float, history.data[last]), strict=True))
    return [("no reading; last sample", last * step, values)]


def _n(text: str, more: str = "") -> Markup:
    return element("td", text, class_=f"n {more}".strip())


def _head(name: str) -> str:
    unit = unit_of(name)
    return channel_words(name) if unit == "1" else f"{channel_words(name)}, {unit}"


def _shown(name: str, value: float | None) -> str:
    """A value with as many decimals as its channel is worth, so that points stand under one another."""
    if value is None:
        return "-"
    if not math.isfinite(value):
        return "not finite"
    if name in CHANNELS and CHANNELS[name].states:
        return channel_words(state_word(name, value))
    return f"{value:,.{_decimals(name)}f}"


def _decimals(name: str) -> int:
    """One digit finer than the channel's steadiness band; three for a lever."""
    band = CHANNELS[name].band if name in CHANNELS else 0.0
    if name in ("pressure_altitude", "true_airspeed"):
        return 0
    return max(0, min(4, 1 - math.floor(math.log10(band)) - 1)) if band > 0.0 else 3
