"""The layout of a table of numbers written down: which columns, and what stands over them."""

from __future__ import annotations

from dataclasses import dataclass

from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import AIRSPEED
from leverproof.conduct.card import Card

DIVISION = "division"
INDICATED = "indicated_airspeed"
ENDED = ("reached", "stop", "limit")
STEADY = ("yes", "no")


@dataclass(frozen=True, slots=True)
class Column:
    """``kind`` is ``run``, ``reading``, ``point``, ``ended``, ``steady``, ``remark`` or ``number``; a number has its
    ``channel`` and ``unit``; ``indicated`` marks an airspeed as its indicator shows it; ``name`` is what stands over
    the column."""

    kind: str
    name: str
    channel: str = ""
    unit: str = ""
    indicated: bool = False


def columns_of(card: Card) -> tuple[Column, ...]:
    """The columns of a card's table, in canonical units."""
    columns = [Column("run", "run"), Column("reading", "reading")]
    sweep = card.case.sweep
    if sweep is not None:
        columns.append(Column("point", sweep.name, "", sweep.points[0].unit))
    if any(row.sought for row in card.rows):
        columns.append(Column("ended", "ended"))
    columns.append(Column("steady", "steady"))
    for name in (*card.kept, *card.readings):
        if name == AIRSPEED:
            columns.append(Column("number", INDICATED, AIRSPEED, "kt", True))
        else:
            columns.append(Column("number", name, name, "" if CHANNELS[name].states else CHANNELS[name].unit))
    return (*columns, Column("remark", "remark"))


def head_of(column: Column) -> str:
    """What stands over a column: its name, and its unit in brackets."""
    return f"{column.name} [{column.unit}]" if column.unit and column.unit != "1" else column.name
