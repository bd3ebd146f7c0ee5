"""Progress: a bar on a terminal, lines elsewhere, nothing when quiet."""

import io

from leverproof.conduct.progress import shown


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_quiet_shows_nothing():
    stream = io.StringIO()
    with shown(stream, quiet=True) as report:
        assert report is None
    assert stream.getvalue() == ""


def test_one_plain_line_every_ten_seconds():
    now = [0.0]
    stream = io.StringIO()
    with shown(stream, quiet=False, clock=lambda: now[0]) as report:
        for tick in range(350):
            now[0] = tick / 10.0
            report(10.0 * tick, 7_000.0)
    written = stream.getvalue().splitlines()
    assert written == [
        "flown 1,000 of about 7,000 lane-seconds (14 %)",
        "flown 2,000 of about 7,000 lane-seconds (29 %)",
        "flown 3,000 of about 7,000 lane-seconds (43 %)",
    ]


def test_a_bar_on_a_terminal(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    stream = Terminal()
    with shown(stream, quiet=False) as report:
        report(50.0, 200.0)
        report(200.0, 200.0)
    assert "flying" in stream.getvalue()
    assert "200 lane-seconds" in stream.getvalue()
