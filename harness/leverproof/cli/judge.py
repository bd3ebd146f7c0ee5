"""``leverproof judge``: the verdict on a case flown by hand, from filled tables or from a recording."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.screen import colour, say, width, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--case", metavar="ID", required=True, help="the case that was flown")
    parser.add_argument("--sheet", metavar="FILE", required=True, help="an engine sheet, or a shipped sheet's id")
    parser.add_argument(
        "--table", metavar="FILE", action="append", default=[],
        help="a filled table of `leverproof card`; one more for each further flyer",
    )  # fmt: skip
    parser.add_argument("--stand", metavar="FILE", help="the stand file of a recording, in place of tables")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="as the card was printed (1)")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also the verdict as one JSON object")
    parser.add_argument("--cases", metavar="DIR", action="append", default=[], help="a folder of further cases")
    parser.set_defaults(do=do)


def do(options: argparse.Namespace) -> int:
    """Prints the verdict; 0 passed, 1 findings, 2 for a file that cannot be used, 5 when nothing was judged."""
    from leverproof.errors import UsageError

    if bool(options.table) == (options.stand is not None):
        raise UsageError("give tables or a recording", "--table, --stand", "one of the two", "judge")
    if options.seed < 0:
        raise UsageError("a seed cannot be negative", "--seed", "any whole number from 0", "range")
    return _recorded(options) if options.stand is not None else _written(options)


def _written(options: argparse.Namespace) -> int:
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.conduct.card import card_of
    from leverproof.conduct.noted_judging import judge_tables
    from leverproof.conduct.noted_load import parse_table
    from leverproof.errors import UsageError
    from leverproof.judge.endings import exit_code
    from leverproof.report import noted_verdict
    from leverproof.sheet.loader import load_sheet
    from leverproof.toml_file import read_text

    case = load_catalogue(options.cases).case(options.case)
    card = card_of(case, load_sheet(options.sheet), seed=options.seed, torque=True)
    if card.refused or not card.rows:
        reason = card.refused or "nothing of it can be judged from numbers written down"
        raise UsageError(f"{case.id} cannot be judged by hand: {reason}", "--case", code="card")
    tables = [parse_table(read_text(Path(name), what="table"), name, card) for name in options.table]
    judged = judge_tables(card, tables)
    code = exit_code(judged.findings, handshake=True, input_errors=False, interrupted=False, internal=False)
    if options.json is not None:
        write_file(options.json, noted_verdict.render_json(card, tables, judged, code))
    say(noted_verdict.render(card, tables, judged, code, width=min(width(), 110), colour=colour()))
    return code


def _recorded(options: argparse.Namespace) -> int:
    """The same session that `run` makes of a recording, of one case, and no record is kept."""
    import tempfile

    from leverproof.cli.endings import ended_in_order
    from leverproof.cli.run import rendered
    from leverproof.errors import UsageError
    from leverproof.record.reader import read_record
    from leverproof.session import RunRequest, run_session
    from leverproof.stand.recording_map import RECORDING
    from leverproof.stand.stand_file import parse_stand_file
    from leverproof.toml_file import read_text

    stand = parse_stand_file(read_text(Path(options.stand), what="stand file"), options.stand)
    if stand.kind != RECORDING:
        words = f"this stand mounts a model ({stand.kind}), it is no recording"
        raise UsageError(words, "--stand", "`leverproof run` drives a model and judges it", "judge")
    with ended_in_order(), tempfile.TemporaryDirectory(prefix="leverproof-") as folder:
        request = RunRequest(
            stand=options.stand,
            sheet=options.sheet,
            cases=(options.case,),
            case_folders=tuple(options.cases),
            seed=options.seed,
            out=Path(folder) / "record",
            command=options.words,
        )
        code = run_session(request)
        record = read_record(request.out)
        if options.json is not None:
            write_file(options.json, rendered(record, "json"))
        say(
            "\n".join(line for line in rendered(record, "table").splitlines() if not line.startswith("Record: ")) + "\n"
        )
    return code
