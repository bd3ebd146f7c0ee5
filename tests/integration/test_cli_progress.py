"""Progress: one plain line every ten seconds where there is no terminal."""

from __future__ import annotations

import io

from leverproof.cli.progress import ProgressLine


def test_a_plain_line_every_ten_seconds() -> None:
    now = [0.0]
    stream = io.StringIO()
    with ProgressLine(stream, clock=lambda: now[0]) as progress:
        for second in range(0, 36, 3):
            now[0] = float(second)
            progress(second, 36, f"case {second}")
    assert stream.getvalue().splitlines() == ["33 % case 12", "67 % case 24"]


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_a_bar_on_a_terminal_that_takes_texts_as_they_are() -> None:
    stream = Terminal()
    with ProgressLine(stream) as progress:
        progress(1, 4, "[red]case")
        progress(4, 4, "[red]last")
    assert "[red]last" in stream.getvalue()
