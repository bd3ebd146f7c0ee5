"""What checking a record or a bundle gave, as data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Objection:
    """One thing that does not agree: ``kind`` is ``index`` (a member of a bundle), ``record`` (lines, counts, files),
    ``input`` (a kept case or sheet that is not the one judged), ``finding`` or ``judging`` (it cannot be judged
    again); ``what`` is it in words."""

    kind: str
    what: str


@dataclass(frozen=True)
class Verified:
    """What was checked: ``sha256`` of the bundle ("" for a folder), ``cases``, ``runs`` and ``findings`` judged again,
    ``objections`` (none: it agrees with itself), and ``remarks`` that decide nothing."""

    where: str
    sha256: str = ""
    model: str = ""
    date: str = ""
    cases: int = 0
    runs: int = 0
    findings: int = 0
    objections: tuple[Objection, ...] = ()
    remarks: tuple[str, ...] = ()
