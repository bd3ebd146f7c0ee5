"""``leverproof ledger``: lists every tolerance with its reason, and how sharp each case is, from records."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import problem_words, say, width, write_file

if TYPE_CHECKING:
    from leverproof.cases.catalogue import Catalogue
    from leverproof.cases.model import ReferenceCase
    from leverproof.kept_margins import KeptMargins
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
    parser.add_argument(
        "--from", dest="kept", metavar="FILE", type=Path, help="fly and read nothing: margins kept with --keep"
    )
    parser.add_argument("--keep", metavar="FILE", type=Path, help="also keep the margins, to be read with --from")
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="also write ledger and margins as a page")
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also write the ledger as one JSON object")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the ledger; 0, or 2 when a file of the user's is invalid."""
    import json
    import sys

    from leverproof.cases.catalogue import load_catalogue
    from leverproof.kept_margins import text_of
    from leverproof.report import ledger
    from leverproof.report.ledger_page import page

    catalogue = load_catalogue(options.cases)
    cases = catalogue.select(options.case, ())
    found, left_out = _margins(options, catalogue, cases)
    measured = None if found is None else [m for m in found.margins if m.case in {case.id for case in cases}]
    say(ledger.render(cases, measured, left_out, width=width()))
    if options.json is not None:
        text = json.dumps(ledger.document(cases, measured, left_out), indent=1, ensure_ascii=False, allow_nan=False)
        write_file(options.json, text + "\n")
    if options.keep is not None and found is not None:
        write_file(options.keep, text_of(found))
    if options.markdown is not None and found is not None and measured is not None:
        told = {"honest": found.honest, "defects": found.defects, "changed": found.changed(catalogue)}
        write_file(options.markdown, page(cases, measured, **told))
    for problem in catalogue.problems:
        print(problem_words(problem), file=sys.stderr)
    return 2 if catalogue.problems else 0


def _margins(
    options: argparse.Namespace, catalogue: Catalogue, cases: Sequence[ReferenceCase]
) -> tuple[KeptMargins | None, int]:
    """The margins as kept or as measured now, None where neither was asked for, and how many findings were left
    out."""
    from leverproof.errors import UsageError
    from leverproof.kept_margins import kept, read
    from leverproof.report.margins import margins, seen_in, unique

    folders = [folder for asked in options.records for folder in _records(asked)]
    if options.kept is not None:
        if folders or options.measure is not None:
            raise UsageError("--from reads what was kept and measures nothing", "--from", "leave one out", "both")
        return read(options.kept), 0
    if options.measure is not None:
        folders += _measure(options, options.measure, catalogue, cases)
    if not folders:
        for option in ("keep", "markdown"):
            if getattr(options, option) is not None:
                raise UsageError("there are no margins", f"--{option}", "add --measure, --records or --from", "margins")
        return None, 0
    names: tuple[list[str], list[str]] = ([], [])
    seen = seen_in(unique(_noted(_read(folders), names)))
    found = margins(seen, [case.id for case in cases])
    return kept(found, catalogue, honest=names[0], defects=names[1], seed=options.seed), seen.left_out


def _noted(records: Iterable[Record], names: tuple[list[str], list[str]]) -> Iterator[Record]:
    """The records, with the names of honest engines and of defects noted on the way."""
    for record in records:
        defect = str(record.header.get("defect") or "")
        names[bool(defect)].append(defect or record.folder.name.removeprefix("honest-"))
        yield record


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


def _measure(
    options: argparse.Namespace, folder: Path, catalogue: Catalogue, cases: Sequence[ReferenceCase]
) -> list[Path]:
    """Runs the honest sets, then each defect in the first set it can be built into, unless a whole record of these
    very cases lies there already; every record in the folder counts. A folder that holds something else than a record
    is refused by the run that would take it."""
    from leverproof.errors import UsageError, nearest
    from leverproof.kills import digests_of, record_name
    from leverproof.session import RunRequest, known_defects, run_session
    from leverproof.sheet.loader import shipped_sheets

    known = {defect.name: defect for defect in known_defects()}
    for name in options.defect:
        if name not in known:
            raise UsageError(f"no defect {name!r}", "--defect", nearest(name, known), "defect")
    sheets = [sheet.name.removesuffix(".toml") for sheet in shipped_sheets()]
    wanted = options.defect or list(known)
    runs: list[tuple[str, str, str | None]] = [(f"honest-{sheet}", sheet, None) for sheet in sheets]
    runs += [(record_name(name), known[name].variants[0], name) for name in wanted]
    now = digests_of(catalogue)
    texts = {case.id: now[case.id] for case in cases}
    for name, sheet, defect in runs:
        if _is_there(folder / name, texts, options.seed):
            continue
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
    return _records(folder)


def _is_there(place: Path, texts: Mapping[str, str], seed: int) -> bool:
    """Whether a whole record of this version, made with these case texts and this seed, lies in a folder."""
    from leverproof import __version__
    from leverproof.kills import digests_in
    from leverproof.record.folder import is_record
    from leverproof.record.reader import read_record

    if not is_record(place):
        return False
    record = read_record(place)
    made = record.header
    alike = made.get("version") == __version__ and made.get("seed", 1) == seed and record.complete
    found = digests_in(place)
    return alike and all(found.get(case) == digest for case, digest in texts.items())
