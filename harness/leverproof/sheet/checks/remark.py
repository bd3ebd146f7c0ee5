"""One remark of a check on a sheet, and what the checks share in reading one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from leverproof.sheet.model import EngineSheet

CONTRADICTION: Literal["contradiction"] = "contradiction"
WARNING: Literal["warning"] = "warning"


@dataclass(frozen=True, slots=True)
class Remark:
    """What a check found at the datum ``path``. A ``contradiction`` breaks a definition or a conservation law, whatever
    the engine; a ``warning`` is what physics or practice makes doubtful. ``calculation`` shows the numbers, ``source``
    says where the relation comes from; ``line`` is that of the datum in the file."""

    check: str
    kind: Literal["contradiction", "warning"]
    path: str
    words: str
    calculation: str
    source: str
    line: int | None = None


Remarks = Iterator[Remark]


def number(sheet: EngineSheet, path: str) -> float | None:
    """A number of the sheet in its own unit, None when it is not given."""
    datum = sheet.number(path)
    return None if datum is None else float(datum.value)


def doubt(sheet: EngineSheet, path: str) -> float:
    """The stated U95 of a number in its own unit, 0 when nobody stated one."""
    datum = sheet.number(path)
    return 0.0 if datum is None or datum.doubt is None else datum.doubt


def shown(sheet: EngineSheet, path: str) -> str:
    """A number of the sheet with its unit and doubt, as a calculation shows it."""
    datum = sheet.number(path)
    if datum is None:
        return "not given"
    unit = "" if datum.unit == "1" else f" {datum.unit}"
    spread = f" +- {datum.doubt:g}" if datum.doubt else ""
    return f"{float(datum.value):.6g}{spread}{unit}"
