"""The terminal report: every verdict in words, every failure in one line with the command that repeats it."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import pytest

from leverproof.judge.endings import ENDINGS
from leverproof.judge.model import VERDICTS
from leverproof.record import Record
from leverproof.report import terminal

FAILING = [verdict for verdict in VERDICTS if ENDINGS[verdict].exit == 1]


def failures(text: str) -> list[str]:
    return [line for line in text.splitlines() if "; repeat: " in line]


def test_each_failure_is_one_line_with_the_command_that_repeats_it(full: Record) -> None:
    lines = failures(terminal.render(full, width=100))
    assert [line.split(":")[0].strip() for line in lines] == [*FAILING, "fail"]
    last = lines[-1]
    assert (
        "split-lever-advantage/power-sign: found 12.3 hp, expected at least 40 hp, limit 0 hp, doubt 3.1 hp"
        in last
    )
    assert shlex.split(last.split("; repeat: ")[1]) == [
        "leverproof", "run", "--stand", "stands/my corrie.toml", "--cases", "more cases",
        "--case", "split-lever-advantage", "--seed", "7", "--defect", "instant-turbo",
    ]  # fmt: skip


def test_advisory_and_self_referential_findings_are_marked_and_counted_apart(full: Record) -> None:
    text = terminal.render(full, width=140)
    assert "fail (advisory)" in text
    assert "pass (self-referential)" in text
    counts = {
        line.split("  ")[0]: line.split()[-3:]
        for line in text.splitlines()
        if re.search(r"\s\d+\s+\d+\s+\d+$", line)
    }
    assert counts["pass"] == ["1", "1", "0"]
    assert counts["fail"] == ["2", "0", "1"]
    assert counts["in all"] == ["15", "1", "1"]
    assert "Nothing is shown of these subjects" in text


def test_a_subject_is_one_table_and_a_case_is_named_once_in_it(full: Record) -> None:
    text = terminal.render(full, width=140)
    tables = re.split(r"\n(?=Take-off\n|Boost control\n|verdict )", text)
    assert [table.split("\n")[0] for table in tables[1:3]] == ["Take-off", "Boost control"]
    assert tables[1].count("take-off-boost-back") == 1
    for verdict in VERDICTS:
        assert verdict == "not applicable" or re.search(rf"{verdict}$", tables[1], re.MULTILINE)


def test_what_does_not_apply_says_what_is_missing_and_lost(full: Record) -> None:
    text = terminal.render(full, width=120)
    assert "split-lever-advantage/gauges: channel turbo_speed; lost: the gauges" in text
    assert "overspeed-light: channel turbo_overspeed_light; lost: whether the light tells the truth" in text


@pytest.mark.parametrize("width", [60, 80, 100, 160])
def test_lines_keep_to_the_width_but_commands_are_never_broken(full: Record, width: int) -> None:
    lines = terminal.render(full, width=width).splitlines()
    long = [line for line in lines if len(line) > width and "; repeat: " not in line]
    assert [line for line in long if not line.startswith("Record: ")] == []


def test_a_narrow_table_keeps_every_word_of_the_wide_one(full: Record) -> None:
    def words(text: str) -> set[str]:
        return set(re.findall(r"[a-z0-9]+", text.split("verdict    ")[0]))

    wide, narrow = terminal.render(full, width=160), terminal.render(full, width=60)
    assert words(wide) <= words(narrow)
    assert re.search(r"case +found +expected +verdict\n- asked +\(basis\)\n", narrow)
    assert re.search(r"case +asked +found +expected +basis +verdict\n", wide)


def test_where_nothing_was_found_no_number_is_made_up(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("settled")
    of = make.case("c", "take-off", (asked,))
    found = replace(
        make.finding(asked, of, "error", note="crash: it ended"), found="", number=None, expected=""
    )
    (line,) = failures(terminal.render(session([make.plan(of)], [found]), width=100))
    assert line.strip().startswith(
        "error: c/settled: nothing found that could be judged; repeat: leverproof run "
    )


def test_how_a_process_ended_is_not_put_into_the_models_mouth(session: Callable[..., Record]) -> None:
    record = session(
        [], [], events=[("problem", {"message": "no reply", "evidence": "exit code 7\nno fuel"})]
    )
    text = terminal.render(record, width=160)
    assert "no reply; its process: exit code 7; the model wrote: no fuel" in text


def test_colour_adds_nothing_but_colour(full: Record) -> None:
    plain, painted = terminal.render(full, width=120), terminal.render(full, width=120, colour=True)
    assert "\x1b" not in plain
    assert "\x1b[31mfail\x1b[0m" in painted
    assert re.sub(r"\x1b\[\d+m", "", painted) == plain


def test_texts_from_outside_cannot_act_on_the_terminal(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("j", asked="clear \x1b[2J\x07 the\nscreen", source="\x9b31m")
    of = make.case("c", "sub\x1b]0;title\x07ject", (asked,))
    found = make.finding(asked, of, "fail", found="\x1b[1A 52 inHg", note="a\rb\u202e")
    header = make.header | {"stand": "\x1bc", "request": {"stand": "\x1b[8m", "seed": 1}}
    text = terminal.render(session([make.plan(of)], [found], header=header))
    assert all(c.isprintable() or c == "\n" for c in text)
    assert "\\x1b[2J" in text


def test_an_incomplete_record_never_looks_whole(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    judged, lost = make.judgement("judged"), make.judgement("lost")
    of = make.case("c", "take-off", (judged, lost))
    text = terminal.render(
        session([make.plan(of)], [make.finding(judged, of, "pass")], ending=None), width=120
    )
    assert "Ending: incomplete" in text
    assert re.search(r"not run$", text, re.MULTILINE)
    assert "exit code 0" not in text


@pytest.mark.parametrize(("code", "words"), [(0, "passed"), (130, "interrupted"), (5, "nothing was judged")])
def test_the_foot_says_how_it_ended(session: Callable[..., Record], code: int, words: str) -> None:
    record = session([], [], ending=("finished", code))
    foot = terminal.render(record, width=120).splitlines()[-2:]
    assert foot[0].startswith(f"Ending: finished, exit code {code}: ")
    assert words in foot[0]
    assert foot[1] == f"Record: {record.folder}"


def test_a_long_tolerance_gives_way_to_its_number(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("j")
    of = make.case("c", "take-off", (asked,))
    long = "2 % of the expected value 52 inHg = 1.04 inHg (less restrictive than 0.5 inHg)"
    found = [
        make.finding(asked, of, "pass", tolerance=long, limit=1.04),
        make.finding(
            asked, of, "pass", expected="at most 18,250 rpm", tolerance="60 rpm", unit="rpm", limit=60.0
        ),
    ]
    text = terminal.render(session([make.plan(of)], found), width=160)
    assert "52 ± 1.04 inHg" in text
    assert "at most 18,250 rpm, tolerance 60 rpm" in text
