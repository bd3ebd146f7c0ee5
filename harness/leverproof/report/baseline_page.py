"""The accepted versions as one HTML file that needs nothing else: no script, nothing fetched, every text escaped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib.resources import files

from leverproof import CAUTION, __version__
from leverproof.baseline.drift import Past, Series, drifting
from leverproof.baseline.model import Acceptance
from leverproof.judge.words import amount
from leverproof.report.baseline_history import acceptance_lines, drift_words, headline, title
from leverproof.report.baseline_plot import drawing
from leverproof.report.html.markup import Child, Markup, element
from leverproof.report.wording import count

TITLE = "Accepted versions"
_SECTIONS = {"drift": "Drift", "acceptances": "Acceptances", "numbers": "Every number"}
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_DRAWN = 60
_STYLE = """
.charts { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 21rem), 1fr)); gap: .2rem 1.5rem; }
.charts figure { margin: .5rem 0; }
.charts figcaption { font-weight: 600; }
.charts figcaption .sub { font-weight: 400; display: block; }
.limit { stroke: var(--soft); stroke-width: 1.4; stroke-dasharray: 5 3; fill: none; }
.at { fill: var(--sheet); }
.at.in { stroke: var(--r0); fill: var(--sheet); }
.at.out { stroke: none; }
"""
_READ = (
    "Grey is what is allowed: of a judged number what its judgement allows, of a reading one tolerance of the "
    "regression tier to either side of the first version that asked the same. A band is open to a side where it has "
    "no edge. "
    "Rings lie inside, squares outside. A thin line is of versions that asked otherwise or used another sheet, which "
    "are not of one series with the rest."
)


def render(found: Past) -> str:
    """The page as text."""
    links = [element("li", element("a", words, href=f"#{name}")) for name, words in _SECTIONS.items()]
    body = [
        _header(found),
        element("nav", element("ul", links), aria_label="Contents", class_="contents"),
        element("main", _drift(found), _acceptances(found), _numbers(found)),
        element("footer", element("p", f"Made by leverproof {__version__} from {found.folder} alone.")),
    ]
    style = files("leverproof.report").joinpath("html", "guide.css").read_text("utf-8")
    head = [
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        Markup('<meta name="color-scheme" content="light dark">'),
        element("title", TITLE),
        Markup(f"<style>{style}{_STYLE}</style>"),
    ]
    return f"<!doctype html>\n{element('html', element('head', head), element('body', body), lang='en')}\n"


def _header(found: Past) -> Markup:
    model = found.log[-1].origin
    told = " ".join(part for part in (model.model, model.model_version) if part)
    return element(
        "header",
        element("p", f"{told or 'a model'}, {count(len(found.log), 'version')}", class_="kicker"),
        element("h1", TITLE),
        element("p", headline(found), class_="headline"),
        element("p", CAUTION, class_="caution"),
    )


def _section(name: str, *inside: Child) -> Markup:
    return element("section", element("h2", _SECTIONS[name]), inside, id=name)


def _acceptances(found: Past) -> Markup:
    return _section("acceptances", element("p", "The last first."), [_acceptance(one) for one in reversed(found.log)])


def _acceptance(one: Acceptance) -> Markup:
    day, _, hour = one.origin.date.partition("T")
    when = f"run of {day} {hour[:5]}".strip()
    return element(
        "section",
        element("h3", f"Version {one.version}: {one.why}"),
        element("p", f"accepted by {one.by}, {when}", class_="sub"),
        element("ul", [element("li", line) for line in acceptance_lines(one)]),
    )


def _drift(found: Past) -> Markup:
    moving = drifting(found)
    if not moving:
        return _section("drift", element("p", headline(found) + "."))
    intro = element("p", "The nearest to the edge of its band first.")
    more = element("p", f"{len(moving) - _DRAWN:,} more are told below.") if len(moving) > _DRAWN else None
    return _section("drift", intro, _charts(moving[:_DRAWN]), more)


def _numbers(found: Past) -> Markup:
    cases = list(dict.fromkeys(series.case for series in (*found.judged, *found.readings)))
    return _section("numbers", element("p", _READ), [_case(found, case) for case in cases])


def _case(found: Past, case: str) -> Markup:
    judged = [series for series in found.judged if series.case == case]
    readings = [series for series in found.readings if series.case == case]
    moving = sum(series.drift is not None for series in (*judged, *readings))
    told = f"{count(len(judged), 'judged number')}, {count(len(readings), 'reading')}"
    told += f", {moving} that move" if moving else ""
    body = [_charts(judged)] if judged else []
    if readings:
        body += [element("h4", "The readings that they use"), _charts(readings)]
    return element(
        "details",
        element("summary", element("h3", case), element("p", told, class_="sub")),
        element("div", body, class_="body"),
        class_="part" if moving else "part quiet",
    )


def _charts(several: Sequence[Series]) -> Markup:
    return element("div", [_chart(series) for series in several], class_="charts")


def _chart(series: Series) -> Markup:
    lines = list(_caption(series))
    said = ", ".join((title(series), *lines))
    below = [element("span", line, class_="sub") for line in lines]
    return element("figure", element("figcaption", title(series), below), drawing(series, said))


def _caption(series: Series) -> Iterator[str]:
    unit = "ratio" if series.unit == "1" else series.unit
    asked = f"{series.words}, " if series.words else ""
    yield f"{asked}{unit}: now {amount(series.spots[-1].found, series.unit)}"
    if series.drift is not None:
        yield drift_words(series)
