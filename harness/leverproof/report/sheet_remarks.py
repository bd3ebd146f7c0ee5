"""What the checks of a sheet found, in words for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from leverproof.report.wording import visible
from leverproof.sheet.checks.remark import CONTRADICTION, Remark


def render(remarks: Sequence[Remark], name: str) -> str:
    """One block a remark: what, where, calculation, source; then how many there are. Ends in a line feed."""
    lines: list[str] = []
    for remark in remarks:
        where = name if remark.line is None else f"{name}:{remark.line}"
        lines += [
            f"{remark.kind}: {visible(remark.words)}",
            f"  where: {visible(where)}: {remark.path}",
            f"  check: {remark.check}",
            f"  calculation: {visible(remark.calculation)}",
            f"  source: {remark.source}",
        ]
    hard = sum(remark.kind == CONTRADICTION for remark in remarks)
    soft = len(remarks) - hard
    lines.append(f"{visible(name)}: {_counted(hard, 'contradiction')}, {_counted(soft, 'warning')}")
    return "\n".join(lines) + "\n"


def _counted(count: int, word: str) -> str:
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"
