"""The checks of a sheet: every shipped sheet passes or says why not, and each check catches a sheet of its own."""

# ruff: noqa: E501 - one row a sheet

from __future__ import annotations

import re
from pathlib import Path

import pytest

from leverproof.cli.main import main
from leverproof.report.sheet_remarks import render
from leverproof.sheet.checks.every import check_sheet
from leverproof.sheet.checks.remark import Remark
from leverproof.sheet.loader import find_sheet, load_sheet, parse_sheet, shipped_sheets

ROOT = Path(__file__).resolve().parents[3]
OTHERS = ("minimal/rill-1", "c_engine/corrie-16", "javascript_engine/rill-6")
JUSTIFIED = {
    "corrie-14": {("check points", "climb.full_throttle_height")},
    "minimal/rill-1": {("check points", "maximum_continuous.brake_power")},
}
"""The warnings on sheets of ours, each told on docs/reference/sheets.md with its reason."""


def spoilt(name: str, *changes: tuple[str, str]) -> tuple[Remark, ...]:
    text, _ = find_sheet(name)
    for pattern, replacement in changes:
        text, count = re.subn(pattern, replacement, text, count=1, flags=re.M | re.S)
        assert count == 1, pattern
    return check_sheet(parse_sheet(text, f"{name}.toml"))


def told(remarks: tuple[Remark, ...]) -> set[tuple[str, str, str]]:
    return {(remark.check, remark.kind, remark.path) for remark in remarks}


@pytest.mark.parametrize("name", [*(item.name.removesuffix(".toml") for item in shipped_sheets()), *OTHERS])
def test_our_own_sheets_pass_or_the_warning_is_known(name: str) -> None:
    path = str(ROOT / "adapters" / "examples" / f"{name}.sheet.toml") if "/" in name else name
    found = told(check_sheet(load_sheet(path)))
    assert found == {(check, "warning", datum) for check, datum in JUSTIFIED.get(name, set())}


def datum(section: str, key: str, value: str) -> tuple[str, str]:
    """A change of one datum's value in a section, its doubt left out."""
    return (
        rf"^(\[{section}\]\n(?:(?!^\[).)*?^{key} = \{{ value = )(?:\"[^\"]*\"|[\d.]+)(, source = \"[^\"]*\")[^\n]*",
        rf'\g<1>"{value}"\g<2> }}',
    )


def added(section: str, line: str) -> tuple[str, str]:
    return rf"^\[{section}\]\n", f"[{section}]\n{line}\n"


FLOW = 'fuel_flow = {{ value = "{} lb/h", source = "s" }}'
HARD, SOFT = "contradiction", "warning"


@pytest.mark.parametrize(
    ("name", "changes", "check", "kind", "path", "words"),
    [
        ("rill-6", [datum("geometry", "compression_ratio", "0.9")], "ranges", HARD, "geometry.compression_ratio", "0.9"),
        ("corrie-18-early", [datum("intercooler", "effectiveness", "1.2")], "ranges", HARD, "intercooler.effectiveness",
         "coolant"),
        ("rill-6", [datum("takeoff", "minutes", "5 h")], "ranges", SOFT, "takeoff.minutes", "unit right"),
        ("rill-6", [datum("maximum_continuous", "manifold_pressure", "29 inHg")], "rating order", HARD,
         "maximum_continuous.manifold_pressure", "29 inHg against 28"),
        ("rill-6", [datum("climb", "engine_speed", "2650 rpm")], "rating order", HARD, "climb.engine_speed", "2600"),
        ("rill-6", [datum("cruise", "manifold_pressure", "25.5 inHg")], "rating order", SOFT,
         "cruise.manifold_pressure", "25.5"),
        ("rill-6", [datum("idle", "engine_speed", "2400 rpm")], "rating order", HARD, "idle.engine_speed", "2300"),
        ("corrie-18-early", [datum("light", "hysteresis", "7000 rpm")], "light", HARD, "light.hysteresis", "2500"),
        ("corrie-18-early", [datum("light", "on_above", "19500 rpm"), datum("light", "off_above", "18400 rpm")],
         "light", HARD, "light.off_above", "18250"),
        ("corrie-18-late", [datum("light", "on_above", "23500 rpm")], "light", SOFT, "light.on_above", "22000"),
        ("corrie-18-late", [datum("lever_law", "full_speed", "12000 rpm")], "boost demand", SOFT,
         "lever_law.full_speed", "22000"),
        ("rill-6", [(r"^\[idle\]", '[limits]\nturbo_speed = { value = "64000 rpm", '
         'source = "s" }\n\n[idle]')], "hardware", HARD, "limits.turbo_speed", "unsupercharged"),
        ("corrie-14", [datum("geared_stage", "ratio_high", "6.5")], "hardware", HARD, "geared_stage.ratio_high", "6.5"),
        ("corrie-18-early", [(r'^takeoff_boost = \{ value = "back"', 'takeoff_boost = { value = "none"')], "hardware", HARD,
         "hardware.takeoff_boost", "listed"),
        ("corrie-18-late", [(r"^turbo_speed_tolerance[^\n]*\n", "")], "hardware", SOFT, "hardware.overspeed_protection",
         "governor"),
        ("rill-6", [datum("takeoff", "manifold_pressure", "31 inHg")], "outside air", HARD, "takeoff.manifold_pressure",
         "29.92"),
        ("rill-6", [datum("climb", "full_throttle_height", "9000 ft")], "outside air", HARD,
         "climb.full_throttle_height", "9000 ft"),
        ("rill-6", [datum("takeoff", "brake_power", "700 hp")], "power and air", HARD, "takeoff.brake_power", "540 in3"),
        ("rill-6", [datum("climb", "brake_power", "100 hp")], "power and air", SOFT, "climb.brake_power", "manifold"),
        ("rill-6", [added("takeoff", FLOW.format(50))], "power and fuel", HARD, "takeoff.fuel_flow", "MJ/kg"),
        ("rill-6", [added("takeoff", FLOW.format(300))], "power and fuel", SOFT, "takeoff.fuel_flow", "lb/hp.h"),
        ("corrie-18-early", [datum("climb", "full_throttle_height", "26000 ft")], "gear and wheel", HARD,
         "climb.full_throttle_height", "tip speed"),
        ("corrie-18-early", [datum("geared_stage", "ratio", "4.5")], "gear and wheel", HARD, "takeoff.manifold_pressure",
         "4.5"),
        ("corrie-18-early", [datum("turbo", "wheel_diameter", "30 in")], "tip speed", SOFT, "turbo.wheel_diameter",
         "m/s"),
        ("corrie-18-early", [datum("climb", "full_throttle_height", "17000 ft")], "check points", SOFT,
         "climb.full_throttle_height", "predicted"),
        ("corrie-18-early", [datum("split_lever", "advantage", "1500 hp")], "check points", SOFT,
         "split_lever.advantage", "predicted 179 hp"),
        ("corrie-18-late", [datum("split_lever", "advantage", "3 hp")], "check points", SOFT,
         "split_lever.advantage", "predicted 48 hp"),
        ("rill-6", [datum("maximum_continuous", "brake_power", "215 hp"), datum("climb", "brake_power", "195 hp")],
         "check points", SOFT, "maximum_continuous.brake_power", "allowed"),
        ("corrie-18-early", [datum("limits", "turbo_speed", "7500 rpm"), datum("light", "off_above", "5000 rpm"),
                             datum("light", "on_above", "7500 rpm")], "turbo limit", SOFT, "limits.turbo_speed", "boost back"),
    ],
)  # fmt: skip
def test_each_check_catches_its_sheet(
    name: str, changes: list[tuple[str, str]], check: str, kind: str, path: str, words: str
) -> None:
    remarks = spoilt(name, *changes)
    assert (check, kind, path) in told(remarks)
    caught = next(remark for remark in remarks if (remark.check, remark.path) == (check, path))
    assert caught.source and caught.calculation and caught.line
    assert words in render(remarks, "s.toml")


def test_the_calculation_is_right_by_hand() -> None:
    """At 26,000 ft T = 288.15 - 0.0065 x 7924.8 = 236.64 K, p = 29.921 x (236.64 / 288.15)^5.2559 = 10.63 inHg; 150 kt is
    Mach 77.17 / 308.4 = 0.250, ram (1 + 0.2 x 0.250^2)^3.5 = 1.045; needed 39.5 / (10.63 x 1.045) = 3.56. Tip speed pi x
    0.29464 m x 7.95 x 2500 / 60 = 307 m/s allows (1 + 306.6^2 / (1004.5 x 236.64))^3.5 = 3.21."""
    remarks = spoilt("corrie-18-early", datum("climb", "full_throttle_height", "26000 ft"))
    calculation = next(remark.calculation for remark in remarks if remark.check == "gear and wheel")
    for part in ("(10.63 x 1.045) = 3.56", "= 307 m/s", "at most 3.21 at 26000 ft"):
        assert part in calculation


def test_the_command_ends_as_its_worst_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 with warnings, 1 with a contradiction, 2 with a file that is no sheet; the others are told all the same."""
    text, _ = find_sheet("rill-6")
    against, broken = tmp_path / "against.toml", tmp_path / "broken.toml"
    against.write_text(re.sub(*datum("idle", "engine_speed", "2400 rpm"), text, flags=re.M | re.S), "utf-8")
    broken.write_text(text.replace('"2700 rpm"', '"2700 hp"'), "utf-8")
    assert main(["sheet", "check", "corrie-14"]) == 0
    assert "no contradictions, 1 warning" in capsys.readouterr().out
    assert main(["sheet", "check", str(against)]) == 1
    said = capsys.readouterr().out
    line = next(
        n for n, words in enumerate(against.read_text("utf-8").splitlines(), 1) if "2400 rpm" in words
    )
    assert f"{against}:{line}: idle.engine_speed" in said and "2400 rpm against 2300 rpm" in said
    assert main(["sheet", "check", str(against), str(broken), str(tmp_path / "none.toml")]) == 2
    both = capsys.readouterr()
    assert f"{against}: 1 contradiction" in both.out
    assert "takeoff.engine_speed.value" in both.err and "no such file" in both.err
