"""The list of reference cases: one a line, id first."""

from __future__ import annotations

from collections.abc import Sequence

from leverproof.cases.model import ReferenceCase
from leverproof.report.wording import visible


def render(cases: Sequence[ReferenceCase]) -> str:
    """Id, subject and title in columns."""
    reach = max((len(case.id) for case in cases), default=0)
    wide = max((len(case.subject) for case in cases), default=0)
    return "".join(
        f"{visible(case.id):<{reach}}  {visible(case.subject):<{wide}}  {visible(case.title)}\n" for case in cases
    )
