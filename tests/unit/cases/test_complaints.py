"""The classes of complaint as shipped data, and what is refused."""

from __future__ import annotations

import pytest

from leverproof.cases.complaints import load_complaints, parse_complaints
from leverproof.errors import InputError

ONE = """\
format = 1

[[class]]
number = 1
complaint = "The gauge is wrong."
source = "common practice, no published source"
cases = ["idle-speed"]
defects = ["idle-starved"]
"""


def test_all_fifty_five_classes_are_there_each_with_cases_or_a_reason() -> None:
    found = load_complaints()
    assert [c.number for c in found] == list(range(1, 56))
    for complaint in found:
        assert bool(complaint.cases and complaint.defects) != bool(complaint.out_of_scope), complaint.number
        assert complaint.source.strip()
    assert len({c.complaint for c in found}) == 55


def test_out_of_scope_says_what_would_be_needed() -> None:
    reasons = [c.out_of_scope for c in load_complaints() if c.out_of_scope]
    assert reasons
    assert [text for text in reasons if "needed" not in text] == []


def test_what_is_written_is_read() -> None:
    (one,) = parse_complaints(ONE, "own.toml")
    assert (one.number, one.cases, one.defects, one.out_of_scope) == (1, ("idle-speed",), ("idle-starved",), "")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("number = 1", "number = 2", "where 1 belongs"),
        ('cases = ["idle-speed"]\n', "", "own.toml"),
        ('source = "common practice, no published source"\n', "", "source"),
        ('cases = ["idle-speed"]', "cases = []", "cases"),
        ("complaint =", "complains =", "complains"),
    ],
)
def test_a_broken_list_is_refused_with_its_place(old: str, new: str, told: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_complaints(ONE.replace(old, new), "own.toml")
    assert told in f"{refused.value.message} {refused.value.where}"
