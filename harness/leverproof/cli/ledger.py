"""``leverproof ledger``: lists every tolerance with its reason, and how sharp each case is, from records."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import problem_words, say, width, write_file

if TYPE_CHECKING:
    from leverproof.record.reader import Record


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument(
        "--case", metavar="GLOB", action="append", default=[], help="only cases whose id fits; may be repeated"
    )
    parser.add_argument(
        "--cases", metavar="DIR", action="append", default=[], help="a folder of further cases; may be repeated"
    )
    parser.add_argument(
        "--records",
        metavar="DIR",
        action="append",
        default=[],
        type=Path,
        help="a record, or a folder of records, to measure margins from; may be repeated",
    )
    parser.add_argument(
        "--measure",
        metavar="DIR",
        type=Path,
        help="run every set of the embedded engine, honest and with each seeded defect, leave the records there and "
        "measure from them",
    )
    parser.add_argument(
        "--defect",
        metavar="NAME",
        action="append",
        default=[],
        help="with --measure: only this defect; may be repeated",
    )
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also write the ledger as one JSON object")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the ledger; 0, or 2 when a file of the user's is invalid."""
    import json
    import sys

    from leverproof.cases.catalogue import load_catalogue
    from leverproof.report import ledger
    from leverproof.report.margins import margins, seen_in, unique

    catalogue = load_catalogue(options.cases)
    cases = catalogue.select(options.case, ())
    folders = [folder for asked in options.records for folder in _records(asked)]
    if options.measure is not None:
        folders += _measure(options, options.measure)
    measured, left_out = None, 0
    if folders:
        seen = seen_in(unique(_read(folders)))
        measured, left_out = margins(seen, [case.id for case in cases]), seen.left_out
    say(ledger.render(cases, measured, left_out, width=width()))
    if options.json is not None:
        text = json.dumps(ledger.document(cases, measured, left_out), indent=1, ensure_ascii=False, allow_nan=False)
        write_file(options.json, text + "\n")
    for problem in catalogue.problems:
        print(problem_words(problem), file=sys.stderr)
    return 2 if catalogue.problems else 0


def _records(folder: Path) -> list[Path]:
    """``folder`` itself where it is a record, else the records directly in it."""
    from leverproof.errors import UsageError
    from leverproof.record.folder import is_record

    if is_record(folder):
        return [folder]
    found = sorted(entry for entry in folder.iterdir() if is_record(entry)) if folder.is_dir() else []
    if not found:
        raise UsageError(
            "there is no record here", f"--records {folder}", "name a record, or a folder of records", "no_record"
        )
    return found


def _read(folders: Sequence[Path]) -> Iterator[Record]:
    from leverproof.record.reader import read_record

    with ProgressLine() as progress:
        for index, folder in enumerate(folders):
            progress(index, len(folders), f"reading {folder.name}")
            yield read_record(folder)


def _measure(options: argparse.Namespace, folder: Path) -> list[Path]:
    """Runs the honest sets, then each defect in the first set it can be built into. A folder that holds something else
    than a record is refused by the run that would take it."""
    from leverproof.errors import UsageError, nearest
    from leverproof.session import RunRequest, known_defects, run_session
    from leverproof.sheet.loader import shipped_sheets

    known = {defect.name: defect for defect in known_defects()}
    for name in options.defect:
        if name not in known:
            raise UsageError(f"no defect {name!r}", "--defect", nearest(name, known), "defect")
    sheets = [sheet.name.removesuffix(".toml") for sheet in shipped_sheets()]
    wanted = options.defect or list(known)
    runs: list[tuple[str, str, str | None]] = [(f"honest-{sheet}", sheet, None) for sheet in sheets]
    runs += [(f"defect-{name}", known[name].variants[0], name) for name in wanted]
    out = []
    for name, sheet, defect in runs:
        request = RunRequest(
            sheet=sheet,
            cases=tuple(options.case),
            case_folders=tuple(options.cases),
            seed=options.seed,
            out=folder / name,
            defect=defect,
            command=options.words,
        )
        with ProgressLine() as progress:
            run_session(request, progress)
        out.append(folder / name)
    return out
