"""How a case on one of several engines is called: ``idle-speed@2``. On a model of one engine it keeps its own id."""

from __future__ import annotations

MARK = "@"


def on_engine(case_id: str, engine: int, engines: int) -> str:
    """The id of a case on ``engine``, from 1, of so many ``engines``."""
    return f"{case_id}{MARK}{engine}" if engines > 1 else case_id


def case_and_engine(case_id: str) -> tuple[str, int | None]:
    """The case's own id and the engine it was flown on; None where the model has one engine."""
    name, mark, number = case_id.rpartition(MARK)
    if mark and number.isascii() and number.isdigit():
        return name, int(number)
    return case_id, None
