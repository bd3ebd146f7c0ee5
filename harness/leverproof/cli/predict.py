"""``leverproof predict``: what an engine sheet implies, with a band, without running any model."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.screen import say, write_file

_GRID = tuple(2_500.0 * i for i in range(13))


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--sheet", metavar="FILE", required=True, help="an engine sheet, or a shipped sheet's id")
    parser.add_argument(
        "--at", metavar="HEIGHT", action="append", default=[],
        help="pressure altitude such as '15000 ft' (repeat for more; default 5000, 10000, 15000, 20000 ft)",
    )  # fmt: skip
    parser.add_argument("--airspeed", metavar="SPEED", default="150 kt", help="true airspeed (default '150 kt')")
    parser.add_argument("--samples", metavar="N", type=int, default=2000, help="samples, 100 to 20000 (2000)")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="seed of the samples (1)")
    parser.add_argument("--json", metavar="FILE", help="write the whole prediction as JSON")
    parser.add_argument("--plot", metavar="FILE", help="write curves against altitude as SVG")
    parser.set_defaults(do=do)


def do(options: argparse.Namespace) -> int:
    """Prints the table and writes what was asked for; 0 when the prediction was made."""
    import json

    from leverproof import __version__
    from leverproof.physics.predictor.document import document_of
    from leverproof.physics.predictor.expectations import Conditions, predict
    from leverproof.report import predict_plot, predict_table
    from leverproof.sheet.loader import load_sheet

    asked, airspeed = _asked(options)
    sheet = load_sheet(options.sheet)
    grid = _GRID if options.plot else ()
    found = predict(
        sheet,
        (*asked, *grid),
        conditions=Conditions(airspeed=airspeed),
        samples=options.samples,
        seed=options.seed,
    )
    heading = {"version": __version__, "sheet": sheet.id, "title": sheet.title, "caution": sheet.caution}
    document = document_of(found, sheet, heading=heading, samples=options.samples, asked=asked)
    if options.json:
        write_file(Path(options.json), json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    if options.plot:
        write_file(Path(options.plot), predict_plot.render(document))
    say(predict_table.render(document))
    return 0


def _asked(options: argparse.Namespace) -> tuple[list[float], float]:
    """Altitudes in ft and airspeed in kt; raises :class:`leverproof.errors.UsageError` for what cannot be used."""
    from leverproof.errors import InputError, UsageError
    from leverproof.quantities import parse

    try:
        heights = [
            parse(text, "--at").to("ft", "--at")
            for text in options.at or ["5000 ft", "10000 ft", "15000 ft", "20000 ft"]
        ]
        airspeed = parse(options.airspeed, "--airspeed").to("kt", "--airspeed")
    except InputError as wrong:
        raise UsageError(wrong.message, wrong.where, wrong.hint, wrong.code) from None
    for height in heights:
        if not -1_000.0 <= height <= 45_000.0:
            raise UsageError(f"{height:g} ft is outside -1000 to 45000 ft", "--at", "name another height", "range")
    if not 0.0 <= airspeed <= 450.0:
        raise UsageError(f"{airspeed:g} kt is outside 0 to 450 kt", "--airspeed", "name another speed", "range")
    if not 100 <= options.samples <= 20_000:
        raise UsageError(f"{options.samples} samples are not 100 to 20000", "--samples", "2000 is enough", "range")
    if options.seed < 0:
        raise UsageError("a seed cannot be negative", "--seed", "any whole number from 0", "range")
    return heights, airspeed
