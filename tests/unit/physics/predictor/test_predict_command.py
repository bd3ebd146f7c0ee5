"""``leverproof predict``: table, JSON by schema, plot, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from leverproof.cli.main import main
from leverproof.physics.predictor.document import document_of
from leverproof.physics.predictor.expectations import predict
from leverproof.report import predict_plot, predict_table
from leverproof.schema import check

QUICK = ("--samples", "150")


def _run(*words: str) -> int:
    return main(["predict", *words, *QUICK])


def test_the_table_the_json_and_the_plot(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data, plot = tmp_path / "p.json", tmp_path / "p.svg"
    code = _run(
        "--sheet",
        "corrie-18-early",
        "--at",
        "15000 ft",
        "--seed",
        "7",
        "--json",
        str(data),
        "--plot",
        str(plot),
    )
    told = capsys.readouterr()
    assert code == 0 and told.err == ""
    for words in ("split-lever advantage, equal pressure", "critical altitude, take-off", "seed 7",
                  "level speed, levers together", "at 15000 ft, take-off pressure and rpm",
                  "never a power setting for a real one"):  # fmt: skip
        assert words in told.out
    assert "at 5000 ft" not in told.out
    document = json.loads(data.read_text("utf-8"))
    check(document, "predict", "p.json")
    assert document["asked"] == [15_000.0] and len(document["altitudes"]) == 13
    names = {n["name"]: n for n in document["numbers"]}
    assert names["level_speed.throttle_first@15000ft"]["unit"] == "kt"
    assert names["split_lever_advantage@15000ft"]["sheet"]["from_model"] is True
    assert names["full_throttle_height.climb"]["sheet"]["value"] == pytest.approx(12_200.0)
    picture = ElementTree.fromstring(plot.read_text("utf-8"))
    texts = [e.text or "" for e in picture.iter() if e.tag.endswith("text")]
    assert (
        "pressure altitude, ft" in texts
        and "turbo speed, rpm" in texts
        and "manifold pressure, inHg" in texts
        and "level speed, kt" in texts
    )
    numbers = [
        float(x) for d in picture.iter() if d.get("d") for x in re.findall(r"-?\d+\.?\d*", d.get("d") or "")
    ]
    assert numbers and max(numbers) < 1_700


def test_the_plot_draws_the_band_where_the_numbers_are(tmp_path: Path) -> None:
    numbers = [
        {
            "name": f"brake_power@{h:g}ft",
            "unit": "hp",
            "altitude": h,
            "low": low,
            "median": 150.0,
            "high": high,
        }
        for h, low, high in ((0.0, 100.0, 200.0), (10_000.0, 100.0, 200.0))
    ]
    document = {
        "sheet": "x<y",
        "seed": 1,
        "samples": 2,
        "airspeed": {"value": 150.0},
        "caution": "&",
        "numbers": numbers,
    }
    picture = ElementTree.fromstring(predict_plot.render(document))
    (area,) = [e for e in picture.iter() if e.get("fill") == "#bbb"]
    ys = [float(y) for _, y in re.findall(r"([\d.]+) ([\d.]+)", area.get("d") or "")]
    (line,) = [e for e in picture.iter() if e.get("stroke-width") == "2"]
    middle = [float(y) for _, y in re.findall(r"([\d.]+) ([\d.]+)", line.get("d") or "")]
    assert ys[0] == ys[1] < middle[0] == middle[1] < ys[2] == ys[3]
    assert middle[0] == pytest.approx(0.5 * (ys[0] + ys[2]), abs=0.11)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--at", "15000 hp"), "unit of power"),
        (("--at", "90000 ft"), "outside"),
        (("--airspeed", "700 kt"), "outside"),
        (("--samples", "5"), "not 100 to 20000"),
        (("--seed", "-1"), "negative"),
    ],
)
def test_a_bad_option_is_refused(
    words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["predict", "--sheet", "corrie-18-early", *words]) == 2
    assert said in capsys.readouterr().err


def test_an_unknown_sheet_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("--sheet", "corrie-18-erly") == 2
    assert "corrie-18-early" in capsys.readouterr().err


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("--sheet", "corrie-18-late", "--json", str(tmp_path / "no" / "p.json")) == 2
    assert "cannot write" in capsys.readouterr().err


def test_a_sheet_without_design_data_still_predicts_and_says_what_was_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from leverproof.sheet.loader import find_sheet

    text = find_sheet("corrie-18-early")[0]
    kept = re.sub(
        r"(?ms)^\[(geometry|geared_stage|turbo|carburettor|intercooler|lever_law)\]\n.*?(?=^\[|\Z)", "", text
    )
    bare = tmp_path / "bare.toml"
    bare.write_text(kept, "utf-8")
    assert _run("--sheet", str(bare), "--at", "15000 ft") == 0
    told = capsys.readouterr().out
    for datum in (
        "geometry.displacement",
        "geared_stage.",
        "turbo.nozzle_area",
        "turbo.wheel_diameter",
        "lever law unknown",
    ):
        assert datum in told
    assert told.count("band widened") >= 6


def test_a_refused_number_is_a_dash_and_null(sheet_of) -> None:  # type: ignore[no-untyped-def]
    sheet = sheet_of("turbo_normalised").but(turbo__wheel_diameter="", limits__turbo_speed="")
    found = predict(sheet, (5_000.0,), samples=120, seed=1)
    heading = {"version": "0", "sheet": "x", "title": "t", "caution": "c"}
    document = document_of(found, sheet, heading=heading, samples=120, asked=(5_000.0,))
    check(document, "predict", "document")
    (speed,) = [n for n in document["numbers"] if n["name"] == "turbo_speed@5000ft"]
    assert speed["median"] is None and "refused" in speed["words"]
    (line,) = [row for row in predict_table.render(document).splitlines() if row.startswith("- turbo speed")]
    assert " - " in line and "refused" in line
