"""Known deviations on the command line: each ending with its exit code, kept in the record and judged again from it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.record.reader import Record, read_record
from leverproof.session import RunRequest, rejudge, run_session

CASE, DEFECT = "power-is-torque-times-speed", "metric-horsepower"
TODAY = date(2026, 5, 1)


def entry(judgement: str, limit: str = "3 tolerances", expires: str = "2026-05-01") -> str:
    return (
        f'[[deferral]]\ncase = "{CASE}"\njudgement = "{judgement}"\nowner = "A. Person"\n'
        f'reason = "labels are being changed"\nlimit = "{limit}"\nexpires = {expires}\n'
    )


def known(folder: Path, *entries: str) -> str:
    path = folder / "known deviations.toml"
    path.write_text("format = 1\n" + "\n".join(entries), "utf-8")
    return str(path)


def judgements() -> list[str]:
    return [j.id for j in load_catalogue().case(CASE).judgements if j.weight == "required"]


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """The defect without any deferral."""
    out = tmp_path_factory.mktemp("plain") / "record"
    assert run_session(RunRequest(cases=(CASE,), defect=DEFECT, out=out)) == 1
    return read_record(out)


def test_the_defect_is_a_deviation_of_every_judgement(plain: Record) -> None:
    assert {f.judgement for f in plain.findings if f.verdict == "fail"} == set(judgements())


def session(folder: Path, *entries: str, today: date = TODAY, defect: str | None = DEFECT) -> tuple[int, Record]:
    path = known(folder, *entries)
    request = RunRequest(cases=(CASE,), defect=defect, out=folder / "record", deferrals=path, today=today)
    code = run_session(request)
    record = read_record(folder / "record")
    assert (folder / "record" / "inputs" / "deferral").is_dir()
    (kept,) = (folder / "record" / "inputs" / "deferral").iterdir()
    assert kept.read_text("utf-8") == Path(path).read_text("utf-8")
    assert rejudge(record, load_catalogue().ladder) == list(record.findings)
    return code, record


def test_deferred_is_shown_and_ends_well(tmp_path: Path) -> None:
    code, record = session(tmp_path, *[entry(name) for name in judgements()])
    verdicts = {f.judgement: f.verdict for f in record.findings}
    assert set(verdicts.values()) == {"deferred"} and code == 0
    assert record.footer is not None and record.footer["counts"] == {"deferred": len(verdicts)}


def test_expired_is_a_failure_and_judged_again_on_its_own_day(tmp_path: Path) -> None:
    code, record = session(tmp_path, *[entry(name) for name in judgements()], today=TODAY + timedelta(1))
    assert code == 1 and {f.deferral_state for f in record.findings} == {"expired"}
    later = replace(record, header={**record.header, "today": "2026-05-01"})
    assert {f.verdict for f in rejudge(later, {})} == {"deferred"}


def test_beyond_its_limit_is_a_failure(tmp_path: Path) -> None:
    code, record = session(tmp_path, *[entry(name, "1.01 tolerances") for name in judgements()])
    assert code == 1 and {f.deferral_state for f in record.findings} == {"beyond its limit"}


def test_an_unexpected_pass_is_a_failure(tmp_path: Path) -> None:
    code, record = session(tmp_path, entry(judgements()[0]), defect=None)
    (found,) = [f for f in record.findings if f.deferral is not None]
    assert (code, found.verdict, found.deferral_state) == (1, "fail", "passes unexpectedly")


def test_a_bad_file_is_2_with_its_place_and_forgives_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = known(tmp_path, entry(judgements()[0]).replace(CASE, CASE + "s"))
    report, out = tmp_path / "report.json", tmp_path / "record"
    words = ["run", "--case", CASE, "--defect", DEFECT, "--deferrals", path, "--out", str(out), "--json", str(report)]
    assert main(words) == 2
    said = " ".join(capsys.readouterr().out.split())
    assert f"known deviations.toml:3: deferral[0].case: no case '{CASE}s' (did you mean '{CASE}'?)" in said
    document = json.loads(report.read_text("utf-8"))
    assert document["counts"]["required"] == {"fail": len(judgements())}
    assert document["request"]["deferrals"] == path


def test_loosening_makes_wider_and_shows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wide = [
        f'[[loosening]]\ncase = "{CASE}"\njudgement = "{name}"\ntimes = 9\nowner = "B. Person"\nreason = "the labels"\n'
        for name in judgements()
    ]
    path, out = known(tmp_path, *wide), tmp_path / "record"
    assert main(["run", "--case", CASE, "--defect", DEFECT, "--deferrals", path, "--out", str(out)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Tolerances loosened by the user" in said and "by B. Person: the labels" in said
    record = read_record(out)
    assert all(f.verdict == "pass" and "loosened" in f.loosened for f in record.findings)
    assert rejudge(record, {}) == list(record.findings)
