"""From the printed card to the verdict: an honest engine passes, a faulty one fails where the method can see it."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest

from leverproof.cli.main import main

from .card_flights import SHEET, printed, table, text
from .recording_flights import Log, by_hand, flown, write

CHART = "power-from-manifold-pressure-and-rpm-only"


def verdict(tmp_path: Path, case: str, *tables: str, seed: str = "1") -> tuple[int, dict[str, object]]:
    words = ["judge", "--case", case, "--sheet", SHEET, "--seed", seed, "--json", str(tmp_path / "v.json")]
    for index, filled in enumerate(tables):
        path = tmp_path / f"{index}.csv"
        path.write_text(filled, "utf-8")
        words += ["--table", str(path)]
    code = main(words)
    return code, json.loads((tmp_path / "v.json").read_text("utf-8"))


def of(found: dict[str, object], judgement: str) -> dict[str, object]:
    findings = found["findings"]
    assert isinstance(findings, list)
    return next(f for f in findings if f["judgement"] == judgement)


@pytest.mark.parametrize("case", ["shutter-fixed-pressure", "level-speed", "throttle-sweep", "take-off-boost-back"])
def test_an_honest_engine_read_off_gauges_passes(tmp_path: Path, case: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = verdict(tmp_path, case, text(table(printed(case))))
    shown = capsys.readouterr().out
    assert code == 0 and found["exit"] == 0 and found["fly_again"] == []
    required = [f for f in found["findings"] if f["weight"] == "required"]  # type: ignore[attr-defined]
    assert {f["verdict"] for f in required} <= {"pass", "conditional pass", "not applicable", "not run"}
    assert any(f["verdict"] in ("pass", "conditional pass") for f in required)
    assert "every required judgement passed" in shown and "Simulated engines only" in shown


@pytest.mark.parametrize(
    ("case", "defect", "judgement"),
    [
        ("shutter-fixed-pressure", "shutter-disconnected", "hotter"),
        ("level-speed", CHART, "faster"),
        ("take-off-boost-back", "governor-droop", "engine-speed"),
    ],
)
def test_a_faulty_engine_fails_where_the_method_can_see_it(
    tmp_path: Path, case: str, defect: str, judgement: str
) -> None:
    code, found = verdict(tmp_path, case, text(table(printed(case), defect=defect)))
    assert code == 1 and of(found, judgement)["verdict"] in ("fail", "conditional fail")


def test_coarse_gauges_are_told_not_forgiven(tmp_path: Path) -> None:
    card = printed("take-off-boost-back")
    _, found = verdict(tmp_path, card.case.id, text(table(card, divisions={"engine_speed": 100.0})))
    assert of(found, "engine-speed")["verdict"] == "inconclusive"
    assert "gauge" in str(of(found, "engine-speed")["note"])


def test_two_flyers_hands_are_in_the_doubt(tmp_path: Path) -> None:
    card = printed("shutter-fixed-pressure")
    _, one = verdict(tmp_path, card.case.id, text(table(card)))
    code, two = verdict(tmp_path, card.case.id, text(table(card, hand=1)), text(table(card, hand=2), ";"))
    assert code == 0 and float(str(of(two, "hotter")["w"])) >= float(str(of(one, "hotter")["w"]))


def test_power_follows_from_a_torque_gauge(tmp_path: Path) -> None:
    card = printed("take-off-boost-back", torque=True)
    code, found = verdict(tmp_path, card.case.id, text(table(card)))
    power = of(found, "power")
    assert code == 0 and power["verdict"] == "conditional pass" and power["number"] == pytest.approx(2090.0, abs=40.0)


def test_the_commands_of_the_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page, form = tmp_path / "card.html", tmp_path / "table.csv"
    words = ["card", "shutter-fixed-pressure", "--sheet", SHEET]
    assert main([*words, "--format", "html", "--out", str(page), "--table", str(form)]) == 0
    assert page.read_text("utf-8").startswith("<!doctype html>")
    told = next(line for line in form.read_text("utf-8").splitlines() if "leverproof judge" in line)
    assert main(shlex.split(told[told.index("leverproof judge") :])[1:]) == 5  # nothing is filled in yet
    assert main(words) == 0
    assert "What this method can see" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["card", "determinism", "--sheet", SHEET], "bit for bit"),
        (["card", "no-such-case", "--sheet", SHEET], "no case"),
        (["card", "turbo-lag", "--sheet", SHEET, "--table", "x.csv"], "numbers written down"),
        (["judge", "--case", "idle-speed", "--sheet", SHEET], "tables or a recording"),
        (["judge", "--case", "determinism", "--sheet", SHEET, "--table", "x.csv"], "cannot be judged by hand"),
        (["judge", "--case", "idle-speed", "--sheet", SHEET, "--table", "no-such.csv"], "no such table"),
    ],
)
def test_what_cannot_be_done_ends_in_2_with_words(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(("defect", "code"), [(None, 0), ("idle-starved", 1)])
def test_a_recording_gets_the_same_kind_of_verdict(
    tmp_path: Path, defect: str | None, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    stand = write(tmp_path, flown(["idle-speed"], hand=by_hand(3), defect=defect), Log())
    words = [
        "judge",
        "--case",
        "idle-speed",
        "--sheet",
        SHEET,
        "--stand",
        str(stand),
        "--json",
        str(tmp_path / "v.json"),
    ]
    assert main(words) == code
    shown = capsys.readouterr().out
    assert "idle-speed" in shown and "Record:" not in shown
    assert json.loads((tmp_path / "v.json").read_text("utf-8"))["ending"]["exit"] == code


def test_a_model_is_no_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stand = tmp_path / "s.toml"
    stand.write_text(f'format = 1\ntitle = "x"\nkind = "reference_engine"\ntarget = "{SHEET}"\n', "utf-8")
    assert main(["judge", "--case", "idle-speed", "--sheet", SHEET, "--stand", str(stand)]) == 2
    assert "is no recording" in capsys.readouterr().err
