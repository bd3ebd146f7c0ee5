"""The table of a card: its columns and rows, to fill in on paper or in a file."""

from __future__ import annotations

import csv
import io
import shlex

from leverproof.conduct.card import Card
from leverproof.conduct.noted_table import DIVISION, columns_of, head_of
from leverproof.report.wording import channel_words, visible


def blank_table(card: Card) -> list[list[str]] | None:
    """Heading row, the row of divisions and one row a reading, all cells text; None where nothing is written down."""
    if not card.rows:
        return None
    columns = columns_of(card)
    heads = [channel_words(head_of(column)) for column in columns]
    table = [heads, [DIVISION, *(_asked(card, column.channel) for column in columns[1:])]]
    for row in card.rows:
        named = {"run": visible(row.run), "reading": visible(row.reading), "point": _point(card, row.label)}
        table.append([named.get(column.kind, "") for column in columns])
    return table


def _point(card: Card, label: str) -> str:
    """A point's label without the name of what is swept, which stands over the column."""
    name = card.case.sweep.name if card.case.sweep is not None else ""
    return channel_words(label.removeprefix(name).strip())


def _asked(card: Card, channel: str) -> str:
    division = (card.divisions or {}).get(channel)
    return "" if division is None else f"<= {division:g}"


def template(card: Card, *, command: str) -> str:
    """The file to fill in: comma separated, UTF-8, lines beginning with # are remarks."""
    columns = columns_of(card)
    out = io.StringIO()
    out.write(f"# leverproof table 1: {card.case.id}\n")
    out.write(f"# engine sheet {visible(card.sheet.id)}, revision {visible(card.sheet.revision)}, seed {card.seed}\n")
    out.write("# One row a reading. An empty row was not flown. A gauge you lack: leave its column empty.\n")
    out.write(
        "# In the row 'division' write the smallest division of each gauge; it asks for the one given or finer:\n"
    )
    asked = [(c, _asked(card, c.channel)) for c in columns if c.channel]
    for column, division in asked:
        if division:
            out.write(f"#   {head_of(column)} {division}\n")
    out.write(
        "# Another unit may stand in the brackets. Under 'ended' write reached, stop or limit; under 'steady' no\n"
    )
    out.write("# where something kept moving. Then: " + command + "\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([head_of(column) for column in columns])
    writer.writerow([DIVISION, *("" for _ in columns[1:])])
    for row in card.rows:
        named = {"run": row.run, "reading": row.reading, "point": f"{row.variable:.10g}" if row.index >= 0 else ""}
        writer.writerow([named.get(column.kind, "") for column in columns])
    return out.getvalue()


def command_words(card: Card, table: str) -> str:
    """The command that judges the filled table, as it can be typed."""
    seed = ("--seed", str(card.seed)) if card.seed != 1 else ()
    return visible(shlex.join(("leverproof", "judge", "--case", card.case.id, *card.asked, *seed, "--table", table)))
