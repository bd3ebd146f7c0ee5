"""Small recorded files, and the recordings made of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from leverproof.stand.port import StandFile
from leverproof.stand.recording import Recording
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters.recording import open_stand

HEAD = "t,thr,mix,alt,dT,tas,map"
STAND = """\
format = 1
title = "a log"
kind = "recording"
target = "flight.csv"
sheet = "corrie-18-early"
[recording]
time = "t"
time_unit = "s"
{recording}
[channels.throttle]
name = "thr"
unit = "%"
[channels.mixture]
name = "mix"
[channels.pressure_altitude]
name = "alt"
unit = "m"
[channels.temperature_offset]
name = "dT"
unit = "degF"
[channels.true_airspeed]
name = "tas"
unit = "km/h"
[channels.manifold_pressure]
name = "map"
unit = "kPa"
{more}
"""

Opened = Callable[..., Recording]


def stand(
    folder: Path,
    *,
    recording: str = "",
    more: str = "",
    target: str = "flight.csv",
    change: dict[str, str] | None = None,
) -> StandFile:
    """The stand file of a log with seven columns, with some of its text changed."""
    text = STAND.format(recording=recording, more=more).replace("flight.csv", target)
    for old, new in (change or {}).items():
        assert old in text
        text = text.replace(old, new)
    return parse_stand_file(text, str(folder / "log.stand.toml"), kinds=("recording",))


def line(at: float, **other: object) -> str:
    """A row: throttle 50 %, auto rich, 1,000 m, standard day, 200 km/h, 100 kPa."""
    row: dict[str, object] = {"t": f"{at:.9g}", "thr": 50, "mix": 2, "alt": 1000, "dT": 0, "tas": 200, "map": 100}
    return ",".join(str(value) for value in (row | other).values())


def lines(count: int = 200, step: float = 0.1) -> list[str]:
    """So many rows at an even step."""
    return [line(i * step) for i in range(count)]


@pytest.fixture
def opened(tmp_path: Path) -> Opened:
    """Writes rows (or bytes) as the log and opens it."""

    def open_log(rows: list[str] | bytes, *, head: str = HEAD, **keys: Any) -> Recording:
        content = rows if isinstance(rows, bytes) else "\n".join([head, *rows, ""]).encode()
        (tmp_path / "flight.csv").write_bytes(content)
        return open_stand(stand(tmp_path, **keys), defect=None)

    return open_log
