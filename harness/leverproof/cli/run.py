"""``leverproof run``: mounts a model, moves its levers, judges what comes out and reports."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.endings import ended_in_order
from leverproof.cli.progress import ProgressLine
from leverproof.cli.screen import colour, exit_code_of, say, width, write_file

if TYPE_CHECKING:
    from leverproof.record.reader import Record
    from leverproof.report.by_eye import Item

FOLDER = "leverproof-record"
SEED = 1


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--stand", metavar="FILE", help="how the model is mounted (default: the embedded engine)")
    parser.add_argument("--sheet", metavar="FILE", help="engine sheet, a file or a shipped id (default: the stand's)")
    parser.add_argument(
        "--case",
        metavar="GLOB",
        action="append",
        default=[],
        help="only cases whose id fits; may be repeated",
    )
    parser.add_argument(
        "--cases",
        metavar="DIR",
        action="append",
        default=[],
        help="a folder of further cases; may be repeated",
    )
    parser.add_argument(
        "--subject", metavar="NAME", action="append", default=[], help="only this subject; may be repeated"
    )
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.add_argument(
        "--out", metavar="DIR", type=Path, default=Path(FOLDER), help=f"the record (default: {FOLDER}/)"
    )
    parser.add_argument("--json", metavar="FILE", type=Path, help="also report as one JSON object")
    parser.add_argument("--junit", metavar="FILE", type=Path, help="also report as JUnit XML")
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="also report as Markdown")
    parser.add_argument(
        "--sarif", metavar="FILE", type=Path, help="also tell defects of the files read, as SARIF 2.1.0"
    )
    parser.add_argument("--defect", metavar="NAME", help="build a seeded defect into the model (see: defects)")
    parser.add_argument(
        "--engine", metavar="N", type=int, help="only this engine of several (default: those the stand names)"
    )
    parser.add_argument(
        "--deferrals", metavar="FILE", help="known deviations put off by a person, and tolerances loosened"
    )
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Runs the session and renders its record; returns the session's exit code."""
    from datetime import UTC, datetime

    from leverproof.errors import LeverproofError
    from leverproof.judge.endings import INTERRUPTED
    from leverproof.report import sarif
    from leverproof.session import RunRequest, run_session

    asked: dict[str, Path | None] = {kind: getattr(options, kind) for kind in ("json", "junit", "markdown", "sarif")}
    wanted = {kind: path for kind, path in asked.items() if path is not None}
    for kind, path in wanted.items():
        check_place(kind, path, options.out)
    _check_apart(wanted)
    request = RunRequest(
        stand=options.stand,
        sheet=options.sheet,
        cases=tuple(options.case),
        case_folders=tuple(options.cases),
        subjects=tuple(options.subject),
        seed=options.seed,
        out=options.out,
        defect=options.defect,
        engine=options.engine,
        command=options.words,
        deferrals=options.deferrals,
        today=datetime.now(UTC).date(),
    )
    with ended_in_order():
        try:
            with ProgressLine(unit="s of engine time") as progress:
                code: int = run_session(request, progress)
        except LeverproofError as problem:
            if options.sarif is not None:
                write_file(options.sarif, sarif.render_error(problem, exit_code_of(problem)))
            raise
        try:
            _tell(options.out, wanted)
        except KeyboardInterrupt:
            print(
                f"interrupted while reporting: the record in {options.out}/ is finished, and "
                f"`leverproof report {options.out}` reports from it",
                file=sys.stderr,
            )
            return INTERRUPTED
    if code == INTERRUPTED:
        print(
            f"interrupted: what was finished is kept in {options.out}/. The same command flies all of it again, and "
            f"keeps this record as {options.out}.previous/; --case and --subject fly a part of it",
            file=sys.stderr,
        )
    return code


def _tell(folder: Path, wanted: Mapping[str, Path]) -> None:
    """Prints the table of the record, and writes the reports asked for by their kind."""
    from leverproof.record.reader import read_record

    record = read_record(folder)
    try:
        say(rendered(record, "table"))
    finally:  # a full disk behind the table costs no report that lies elsewhere
        _write_all({path: rendered(record, kind) for kind, path in wanted.items()})


def _write_all(texts: Mapping[Path, str]) -> None:
    """Writes each report that can be written, and raises the first refusal after that."""
    from leverproof.errors import UsageError

    refused: list[UsageError] = []
    for path, text in texts.items():
        try:
            write_file(path, text)
        except UsageError as problem:
            refused.append(problem)
    if refused:
        raise refused[0]


def rendered(record: Record, kind: str, by_eye: Sequence[Item] = ()) -> str:
    """The record as ``table``, ``json``, ``junit``, ``markdown``, ``html`` or ``sarif``, with items judged by eye."""
    # Each kind brings libraries of its own, and most of the time one kind is asked for.
    if kind == "html":
        from leverproof.report import html

        return html.render(record, by_eye=by_eye)
    if kind == "table":
        from leverproof.report import terminal

        return terminal.render(record, width=width(), colour=colour(), by_eye=by_eye)
    if kind == "json":
        from leverproof.report import json_report

        return json_report.render(record, by_eye=by_eye)
    if kind == "sarif":
        from leverproof.report import sarif

        return sarif.render(record)
    if kind == "junit":
        from leverproof.report import junit

        return junit.render(record, by_eye=by_eye)
    from leverproof.report import markdown

    return markdown.render(record, by_eye=by_eye)


def check_place(kind: str, path: Path, out: Path) -> None:
    """Refuses a file, for the option ``--kind``, that could not be written later, or that would lie in the folder
    ``out`` of a record, a baseline or a campaign."""
    from leverproof.errors import UsageError
    from leverproof.there import is_folder, is_name, is_there, whole_path

    if whole_path(path).is_relative_to(whole_path(out)):
        words = f"a report cannot lie inside {out}, in which every file is accounted for"
        raise UsageError(words, f"--{kind} {path}", "put it beside that folder")
    if not is_name(path) or not is_folder(path.absolute().parent) or is_folder(path):
        raise UsageError("cannot write this file", f"--{kind} {path}", "name a file in a folder that exists")
    # What cannot be written is refused before the run and not after it.
    if not os.access(path if is_there(path) else path.absolute().parent, os.W_OK):
        raise UsageError("cannot write this file: no permission", f"--{kind} {path}", "name a file elsewhere")


def _check_apart(wanted: Mapping[str, Path]) -> None:
    """Refuses two reports that would go into one file."""
    from leverproof.errors import UsageError
    from leverproof.there import is_file, is_there, whole_path

    taken: dict[Path, str] = {}
    for kind, path in wanted.items():
        # A device, such as /dev/null, takes any number of them.
        other = taken.setdefault(whole_path(path), kind) if is_file(path) or not is_there(path) else kind
        if other != kind:
            raise UsageError(f"--{other} writes this file too", f"--{kind} {path}", "name another file")
