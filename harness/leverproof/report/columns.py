"""Tables of texts: for a terminal, in columns that share its width, and as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from tabulate import tabulate

from leverproof.report.markdown import cell
from leverproof.report.wording import fill, visible

_NARROW, _WIDE = 10, 24


def columns(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> str:
    """A table whose columns share the width, none narrower than can be read; empty without rows."""
    if not rows:
        return ""
    widest = [max(len(str(row[i])) for row in (heads, *rows)) for i in range(len(heads))]
    room = width - 2 * (len(heads) - 1)
    share = [min(w, _WIDE) for w in widest]
    while sum(share) > room and max(share) > _NARROW:
        share[share.index(max(share))] -= 1
    for i, w in enumerate(widest):
        share[i] += max(0, min(w - share[i], room - sum(share)))
    shown = [[fill(str(c), w) if c else "" for c, w in zip(row, share, strict=True)] for row in rows]
    return tabulate(shown, [visible(head) for head in heads], tablefmt="simple", disable_numparse=True)


def markdown_rows(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """The lines of a table in Markdown."""
    yield "| " + " | ".join(map(cell, heads)) + " |"
    yield "| --- |" + " --- |" * (len(heads) - 1)
    yield from ("| " + " | ".join(map(cell, row)) + " |" for row in rows)


def within(lines: Iterable[str], largest: int, rest: str) -> str:
    """The lines as Markdown of at most ``largest`` bytes; what is too long is cut from the end, and it says so: where
    the ``rest`` is."""
    out: list[str] = []
    room = largest - 200
    for line in lines:
        size = len(line.encode("utf-8")) + 1
        if size > room:
            out.append(f"\n*Cut here for length: {rest}.*")
            break
        out.append(line)
        room -= size
    return "\n".join(out) + "\n"
