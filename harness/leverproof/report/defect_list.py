"""The list of seeded defects: one a line, name first."""

from __future__ import annotations

from collections.abc import Sequence

from leverproof.report.wording import visible


def render(defects: Sequence[tuple[str, str, str]]) -> str:
    """Name, size and physical reason in columns; a line is never broken."""
    reach = max((len(name) for name, _, _ in defects), default=0)
    return "".join(
        f"{visible(name):<{reach}}  {visible(size):<5}  {visible(reason)}\n" for name, size, reason in defects
    )
