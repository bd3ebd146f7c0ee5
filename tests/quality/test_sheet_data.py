"""A datum of a sheet that no case would miss is no datum: each judged one, moved by three tolerances, fails a case.

Only the sheet is changed, never the engine. Data that a case uses as a set point count too: at another manifold
pressure the power is no longer the rated one.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.judge.endings import ENDINGS
from leverproof.sheet.loader import load_sheet, parse_sheet

from .sessions import session

SHEET = "corrie-18-early"
GOVERNED = "corrie-18-late"
THREE_TOLERANCES = {
    "inHg": 0.09,
    "rpm": 0.045,
    "hp": 0.15,
    "ft": 0.25,
    "s": 0.375,
}
"""Share of the value that three tolerances of its kind come to: manifold pressure 3 % of rated, governed speed 1.5 %,
power 5 % (14 CFR Part 60 analogues), a height 1,000 ft of 12,000, a time 10 % or 0.25 s."""
LARGER = {
    "idle.engine_speed": 0.35,
    "split_lever.advantage": 1.0,
    "light.off_above": 0.3,
}
EXEMPT = {
    "takeoff.minutes": "a time limit: no engine model without wear can break it",
    "maximum_continuous.minutes": "a time limit",
    "climb.minutes": "a time limit",
    "maximum_continuous.engine_speed": "a set point: at one pressure power changes too little with it to be told",
    "cruise.manifold_pressure": "a recommended setting, not a limit or a result",
    "cruise.engine_speed": "a recommended setting, not a limit or a result",
    "limits.carburettor_air_temperature": "a set point: the boost lever brings the charge to it wherever it is put",
    "limits.turbo_speed": "nothing protects this set: the limit is the pilot's, the engine shows it by light.on_above",
    "light.hysteresis": "only whether there is one is judged, not its size",
    "link.above": "the height of a rule of practice; the cases are flown on both sides of it",
}
EXEMPT_SECTIONS = (
    "geometry", "geared_stage", "turbo", "intercooler", "propeller", "airframe", "lever_law", "exhaust", "carburettor",
)  # fmt: skip
"""Design data for the predictor and the aeroplane: they set the width and place of predicted bands."""


def numbers() -> list[str]:
    sheet = load_sheet(SHEET)
    return [path for path, datum in sheet.data.items() if not isinstance(datum.value, str)]


def judged() -> list[str]:
    return [p for p in numbers() if p not in EXEMPT and p.split(".")[0] not in EXEMPT_SECTIONS]


def moved(name: str, path: str, factor: float) -> str:
    """The sheet's text with one datum multiplied."""
    text = load_sheet(name).text
    section, key = path.split(".")
    start = text.index(f"[{section}]")
    pattern = re.compile(rf'^({key} = \{{ value = ")([-0-9.]+)( [^"]*")', re.MULTILINE)
    found = pattern.search(text, start)
    assert found is not None, path
    return text[: found.start(2)] + f"{float(found.group(2)) * factor:.6g}" + text[found.end(2) :]


def cases_with(path: str) -> tuple[str, ...]:
    catalogue = load_catalogue()
    wanted = "overspeed-light" if path.startswith("light.") else f'"{path}"'
    return tuple(c.id for c in catalogue.cases if wanted in catalogue.texts[c.id])


def test_every_exempt_datum_exists_and_says_why() -> None:
    known = set(numbers())
    assert all(reason for reason in EXEMPT.values())
    assert {"takeoff.minutes", "link.above", "light.hysteresis"} <= known
    assert len(judged()) >= 14


@pytest.mark.parametrize(("name", "path"), [*((SHEET, path) for path in judged()), (GOVERNED, "limits.turbo_speed")])
def test_a_moved_datum_fails_a_required_case(tmp_path: Path, name: str, path: str) -> None:
    sheet = load_sheet(name)
    datum = sheet.number(path)
    assert datum is not None
    share = LARGER.get(path, THREE_TOLERANCES[datum.unit])
    cases = cases_with(path)
    assert cases, f"no case uses {path}"
    failed: set[str] = set()
    for sign in (1.0, -1.0):
        text = moved(name, path, 1.0 + sign * share)
        parse_sheet(text, "moved")
        file = tmp_path / f"moved{sign:+.0f}.toml"
        file.write_text(text, "utf-8")
        outcome = session(tmp_path / f"record{sign:+.0f}", sheet=str(file), cases=cases)
        failed |= {
            f.case for f in outcome.record.findings if f.weight == "required" and ENDINGS[f.verdict].passed is False
        }
        if failed:
            break
    assert failed, f"{path} moved by {share:.0%} either way fails none of {', '.join(cases)}"
