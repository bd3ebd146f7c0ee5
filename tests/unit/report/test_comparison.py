"""Several records side by side: matrix, ties, curves, option audit; no text of a record acts on the page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Value
from leverproof.cli.main import main
from leverproof.conduct.model import ConductedRun, Expected, NotApplicable, PlannedCase, Point, Program
from leverproof.errors import ReproducibilityError, UsageError
from leverproof.history import History, Reading
from leverproof.judge.model import PointFinding
from leverproof.quantities import Quantity
from leverproof.record import Record, RecordWriter, read_record
from leverproof.record.bundle import bundle_of, open_record
from leverproof.report.comparison import page, text
from leverproof.report.comparison.fold import compare
from leverproof.report.comparison.model import Comparison
from leverproof.timegrid import TimeGrid

HEIGHTS = (10_000.0, 15_000.0, 20_000.0)
STAND = 'format = 1\ntitle = "{title}"\nkind = "stdio"\n[options]\nrealism = "{realism}"\n'
Write = Callable[..., Record]


@pytest.fixture
def write(tmp_path: Path, make: SimpleNamespace) -> Write:
    """Writes a record of a swept case, flown, with a finding at each height, and one of a case of another subject."""

    def one(
        name: str,
        *,
        power: float = 1_000.0,
        sample: float = 0.0,
        doubt: float = 5.0,
        verdict: str = "pass",
        limit: float = 40.0,
        untestable: bool = False,
        realism: str = "full",
        title: str = "a stand",
        model: str = "Corrie-18",
        deterministic: bool = True,
        header: dict[str, Any] | None = None,
        hostile: str = "",
    ) -> Record:
        programs, planned = asked_of(make, hostile, untestable)
        powers = [power - i * 10.0 for i in range(3)]
        findings = found_in(make, planned, powers, verdict, limit, doubt, hostile)
        folder = tmp_path / name
        with RecordWriter(folder, make.header | {"defect": None} | (header or {})) as writer:
            writer.add_input("stand", "stand.toml", STAND.format(title=title, realism=realism))
            able = {"deterministic": deterministic, "clock": "stepped"}
            writer.event("handshake", model=f"{model}{hostile}", version="1", capabilities=able)
            writer.expectations(planned)
            writer.history("power-climb", [flown(p, f, sample) for p, f in zip(programs, powers, strict=True)])
            writer.findings(findings)
            writer.close("completed", 0)
        return read_record(folder)

    return one


def asked_of(make: SimpleNamespace, hostile: str, untestable: bool) -> tuple[tuple[Program, ...], list[PlannedCase]]:
    """What is planned: a case at three heights, and one of a light that the stand may lack."""
    asked = make.judgement(
        "power", what="value", channel="brake_power", reading=ref("climb", "settled"),
        expected=Value(quantity=Quantity(1_000.0, "hp")), asked=f"power {hostile}",
    )  # fmt: skip
    case = make.case("power-climb", f"throttle {hostile}".strip(), (asked,))
    words = make.case("light", "lights", (make.judgement("state", what="state"),))
    resolved = {"power": {"expected": Expected(1e3)}}
    points = tuple(
        Point(i, f"altitude {h:,.0f} ft", False, h, {"pressure_altitude": h}, resolved) for i, h in enumerate(HEIGHTS)
    )
    programs = tuple(
        Program(("power-climb", i, "climb"), "running", {"throttle": 1.0}, (), TimeGrid(1800)) for i in range(3)
    )
    lacking = NotApplicable(f"channel light {hostile}", "the light") if untestable else None
    return programs, [
        PlannedCase(case, points, programs, case.judgements),
        make.plan(words, inapplicable=lacking),
    ]


def found_in(
    make: SimpleNamespace,
    planned: list[PlannedCase],
    powers: list[float],
    verdict: str,
    limit: float,
    doubt: float,
    hostile: str,
) -> list[Any]:
    """Findings of what was planned."""
    power, light = planned
    told = tuple(
        PointFinding(p.label, f, 1e3, "hp", abs(f - 1e3), limit, doubt, verdict)
        for p, f in zip(power.points, powers, strict=True)
    )
    found = f"{powers[0]} hp {hostile}"
    asked = power.judgements[0]
    findings = [
        make.finding(asked, power.case, verdict, points=told, found=found, unit="hp", w=doubt, note=hostile)
    ]
    if light.inapplicable is None:
        findings.append(make.finding(light.case.judgements[0], light.case, "pass", found="", number=None, w=None))
    return findings


def ref(run: str, reading: str) -> Any:
    from leverproof.cases.model import Ref

    return Ref(run, reading)


def flown(program: Program, power: float, sample: float) -> ConductedRun:
    columns = ("throttle", "brake_power", "turbo_speed")
    data = np.tile(np.array([[1.0, power, 9_000.0]], np.float32), (4, 1))
    data[0, 2] += sample
    values = {"throttle": 1.0, "brake_power": power, "turbo_speed": 9_000.0}
    return ConductedRun(
        program, History(TimeGrid(1800), columns, data, (), (Reading("settled", 2, values, {}),))
    )


def rows(found: Comparison) -> dict[str, tuple[list[str], int, int]]:
    return {row.subject: ([c.word for c in row.cells], row.apart, row.shared) for row in found.rows}


def test_the_matrix_says_who_passes_fails_and_cannot_be_tested(write: Write) -> None:
    found = compare([write("a"), write("b", power=800.0, verdict="fail"), write("c", untestable=True)])
    assert rows(found) == {
        "throttle": (["passes", "fails", "passes"], 1, 1),
        "lights": (["passes", "passes", "untestable"], 0, 1),
    }
    said = text.markdown(found)
    assert (
        "untestable: channel light" in said
        and "told apart by 1 of 1 judgement" in said
        and "tie on all 1" in said
    )


@pytest.mark.parametrize(
    ("power", "doubt", "relation", "words"),
    [
        (
            1_007.0,
            5.0,
            "tie",
            "differ by 7 hp at altitude 10,000 ft, doubt 7.1 hp, tolerance 40 hp: within doubt",
        ),
        (1_008.0, 5.0, "apart", "told apart at 3 of 3 points"),
        (1_000.0, 0.0, "tie", "within doubt"),
        (1_500.0, float("inf"), "tie", "within doubt"),
    ],
)
def test_numbers_within_their_doubts_are_a_tie(
    write: Write, power: float, doubt: float, relation: str, words: str
) -> None:
    (row, _) = compare([write("a", doubt=doubt), write("b", power=power, doubt=doubt)]).judged
    assert row.relation == relation
    assert words in row.words


def test_verdicts_on_two_sides_of_a_limit_are_no_difference_of_models(write: Write) -> None:
    (row, _) = compare([write("a"), write("b", power=1_001.0, verdict="fail")]).judged
    assert row.relation == "tie" and row.words.startswith("verdicts differ, but differ by 1 hp")


def test_what_is_asked_otherwise_is_not_compared(write: Write, make: SimpleNamespace, tmp_path: Path) -> None:
    asked = make.judgement("power", what="value", channel="brake_power", basis="published")
    case = make.case("power-climb", "throttle", (asked,))
    with RecordWriter(tmp_path / "other", make.header) as writer:
        writer.expectations([make.plan(case)])
        writer.findings([make.finding(asked, case, "pass")])
        writer.close("completed", 0)
    found = compare([write("a"), read_record(tmp_path / "other")])
    assert found.judged[0].relation == "asked differently"
    assert found.judged[1].relation == "one only" and found.judged[1].held[1].verdict == ""


def test_letters_of_curves_that_end_together_stand_beside_one_another(write: Write) -> None:
    found = compare([write("a"), write("b", power=1_000.5), write("c", power=600.0)])
    drawn = page.render(found)
    (figure,) = re.findall(r'<svg class="still"[^>]*aria-label="Brake power.*?</svg>', drawn)
    names = re.findall(r'class="name" x="([\d.]+)" y="([\d.]+)"[^>]*>(\w)<', figure)
    at = {letter: (float(x), float(y)) for x, y, letter in names}
    assert abs(at["A"][1] - at["B"][1]) < 2.0 and abs(at["A"][0] - at["B"][0]) >= 14.0
    assert at["C"][0] == at["A"][0]


def test_curves_hold_the_readings_and_the_reference(write: Write) -> None:
    found = compare([write("a"), write("b", power=900.0, model="Rill-6")])
    panels = {panel.channel: panel for panel in found.panels}
    power = panels["brake_power"]
    assert [curve.points for curve in power.curves] == [
        tuple((h, 1_000.0 - 10.0 * i) for i, h in enumerate(HEIGHTS)),
        tuple((h, 900.0 - 10.0 * i) for i, h in enumerate(HEIGHTS)),
    ]
    (band,) = power.bands
    assert band.models == (0, 1) and band.values == tuple((h, 960.0, 1_040.0) for h in HEIGHTS)
    assert panels["turbo_speed"].bands == () and not found.audits
    said = text.markdown(found)
    assert "| 15,000 ft | 990 hp | 890 hp |" in said
    assert "reference (sheet: power; A, B) at 15,000 ft: 960 hp to 1,040 hp" in said


@pytest.mark.parametrize(
    ("other", "declared", "words", "undeclared"),
    [
        ({}, (), "the same: declared alike, and alike in every sample of 3 runs", False),
        ({"title": "another title"}, (), "the same", False),
        (
            {"power": 990.0},
            (),
            "undeclared: nothing was declared otherwise, and yet 1 channel with other readings",
            True,
        ),
        (
            {"sample": 1.0},
            (),
            "undeclared: no reading differs over 3 runs, but samples between them do",
            True,
        ),
        ({"realism": "easy"}, ("stand options.realism: full and easy",), "without effect", False),
        (
            {"realism": "easy", "power": 990.0},
            ("stand options.realism: full and easy",),
            "1 channel with other",
            False,
        ),
        (
            {"header": {"defect": "instant-turbo"}},
            ("defect: nothing and instant-turbo",),
            "without effect",
            False,
        ),
        ({"header": {"seed": 8}}, ("seed: 7 and 8",), "without effect", False),
    ],
)
def test_the_option_audit(
    write: Write, other: dict[str, Any], declared: tuple[str, ...], words: str, undeclared: bool
) -> None:
    (audit,) = compare([write("a"), write("b", **other)]).audits
    assert audit.declared == declared
    assert words in audit.conclusion
    assert audit.undeclared is undeclared
    assert bool(audit.effects) == ("power" in other)
    assert all("in 1 case, by at most 10 hp: 1,000 hp and 990 hp in power-climb" in told for told in audit.effects)


def test_a_model_that_does_not_repeat_itself_may_differ_by_its_band(write: Write) -> None:
    def told(power: float) -> bool:
        one = write(f"a{power}", deterministic=False)
        return compare([one, write(f"b{power}", power=power, deterministic=False)]).audits[0].undeclared

    assert not told(1_000.1) and told(900.0)


class Tags(HTMLParser):
    """Every element and attribute of a page, and whether each was closed."""

    VOID = ("meta", "br")

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.attributes: set[str] = set()
        self.open: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value or "" for name, value in attrs if name == "href"]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_and_nothing_in_a_record_acts_on_it(write: Write) -> None:
    bad = "</style><script>alert(1)</script><img src=x onerror=alert(1)> \" ' & \x1b[31m \u202e ]]> | `x`"
    found = compare(
        [write("a", hostile=bad), write("b", hostile=bad, power=500.0, verdict="fail", untestable=True)]
    )
    written = page.render(found)
    tags = Tags()
    tags.feed(written)
    assert tags.open == []
    assert tags.seen.isdisjoint({"script", "img", "link", "iframe", "object", "form"})
    assert not {name for name in tags.attributes if name.startswith("on") or name in ("src", "style")}
    assert all(link.startswith("#") for link in tags.links)
    assert written.count("<style>") == 1 and "http:" not in written and "https:" not in written
    assert "alert(1)" in written and "\x1b" not in written and "\u202e" not in written
    for drawing in written.split('<svg class="still"')[1:]:
        ET.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg"{drawing.partition("</svg>")[0]}</svg>')
    for said in (text.render(found), text.markdown(found)):
        assert "\x1b" not in said and "\u202e" not in said
    assert "<script" not in text.markdown(found).replace("\\<script", "")


def test_markdown_is_cut_under_its_limit_and_says_so(write: Write) -> None:
    found = compare([write("a"), write("b")])
    cut = text.markdown(found, largest=1_500)
    assert len(cut.encode()) <= 1_500 and "Cut here for length" in cut


def test_the_command_reads_records_and_bundles_and_writes_every_form(
    write: Write, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other = write("a").folder, write("b", power=700.0, verdict="fail").folder
    bundle = tmp_path / "b.zip"
    bundle.write_bytes(bundle_of(other))
    assert open_record(bundle).findings == read_record(other).findings
    out = tmp_path / "c.html"
    assert main(["compare", str(one), str(bundle), "--out", str(out)]) == 0
    assert out.read_text("utf-8").startswith("<!doctype html>")
    assert main(["compare", str(one), str(bundle)]) == 0
    assert capsys.readouterr().out.startswith("Models side by side\n")
    assert (
        main(["compare", str(one), str(bundle), "--format", "markdown", "--out", str(tmp_path / "c.md")]) == 0
    )
    assert (tmp_path / "c.md").read_text("utf-8").startswith("# Models side by side\n")
    assert main(["compare", str(one), str(bundle), "--out", str(one / "c.html")]) == 2
    assert main(["compare", str(one)]) == 2
    with pytest.raises(UsageError, match="cannot be compared"):
        compare([read_record(one)] * 27)


def test_a_bundle_that_does_not_hold_is_not_compared(write: Write, tmp_path: Path) -> None:
    from leverproof.record.archive import write_archive
    from leverproof.record.bundle import read_bundle

    path = tmp_path / "b.zip"
    path.write_bytes(bundle_of(write("a").folder))
    members = read_bundle(path).members
    path.write_bytes(write_archive({**members, "inputs/stand/stand.toml": b"other"}))
    with pytest.raises(ReproducibilityError, match="does not hold"):
        open_record(path)


def test_an_incomplete_record_and_other_sheets_are_told(write: Write) -> None:
    one = write("a")
    other = write("b", header={"sheet": {"id": "rill-6"}, "suite": "2"})
    lines = (other.folder / "record.jsonl").read_bytes()
    (other.folder / "record.jsonl").write_bytes(lines[: lines.rindex(b'{"kind":"footer"')])
    notes = " ".join(compare([one, read_record(other.folder)]).notes)
    for words in ("B is incomplete", "different suites of cases", "different sheets"):
        assert words in notes


def test_findings_keep_their_order_and_none_is_lost(write: Write) -> None:
    found = compare([write("a"), write("b", untestable=True)])
    assert [(row.case, row.judgement) for row in found.judged] == [
        ("power-climb", "power"),
        ("light", "state"),
    ]
    assert isinstance(found.judged[1].held[1].note, str) and found.judged[1].relation == "one only"
