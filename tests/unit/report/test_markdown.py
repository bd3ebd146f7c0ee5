"""The summary page: failures first, bounded, nothing from outside acts on it."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

from leverproof.record import Record
from leverproof.report import markdown


def test_failures_come_before_the_tables(full: Record) -> None:
    text = markdown.render(full)
    assert text.index("## Not passed") < text.index("## Take-off") < text.index("## Not applicable here")
    assert "repeat: `leverproof run --stand 'stands/my corrie.toml'" in text


def test_it_is_cut_with_a_note_and_keeps_the_failures(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = tuple(make.judgement(f"j{n}") for n in range(400))
    of = make.case("c", "take-off", asked)
    found = [make.finding(j, of, "fail" if n == 399 else "pass", note="é" * 300) for n, j in enumerate(asked)]
    record = session([make.plan(of)], found)
    whole, cut = markdown.render(record), markdown.render(record, largest=20_000)
    assert len(whole.encode()) > 20_000 >= len(cut.encode())
    assert "**Shortened** to 20,000 bytes: " in cut and "Shortened" not in whole
    assert "**fail**: c/j399" in cut and "| c/j399 |" in cut
    rows = cut.count("\n| c/j") - 1
    assert f"{399 - rows:,} passes left out" in cut


def test_passes_give_way_before_anything_else_and_failures_last(full: Record) -> None:
    whole = markdown.render(full)
    kept = [whole]
    for largest in range(len(whole.encode()) - 1, 4_000, -150):
        kept.append(markdown.render(full, largest=largest))
        assert len(kept[-1].encode()) <= largest
    passes, others = "| pass |\n", "## Not applicable here"
    assert any(passes not in text and others in text for text in kept)
    assert any(others not in text and "## Not passed" in text for text in kept)
    assert all("## Not passed" in text for text in kept if "| take-off-boost-back/fail |" in text)


def test_it_stays_under_a_megabyte_whatever_the_texts(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = tuple(make.judgement(f"j{n}", asked="é" * 2_000) for n in range(900))
    of = make.case("c", "take-off", asked)
    record = session([make.plan(of)], [make.finding(j, of, "fail", note="x" * 5000) for j in asked])
    assert len(markdown.render(record).encode()) < 1_000_000


def test_texts_from_outside_stay_texts(session: Callable[..., Record], make: SimpleNamespace) -> None:
    asked = make.judgement("j", asked="a | b <img src=x> [l](u) `c` @someone #1\n# head")
    of = make.case("c", "take-off", (asked,))
    text = markdown.render(session([make.plan(of)], [make.finding(asked, of, "fail", note="<b>")]))
    (row,) = [line for line in text.splitlines() if line.startswith("| c/j")]
    assert row.count("|") - row.count("\\|") == 7
    assert "<img" not in text.replace("\\<img", "") and "@someone" not in text
    assert "\n# head" not in text
