"""``leverproof kills``: runs the embedded engine once with each seeded defect and prints what catches
what."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import say, width


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--defect", metavar="NAME", action="append", default=[], help="only this one; may be repeated")
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the matrix; 0 when it could be made."""
    import tempfile

    from leverproof.errors import UsageError, nearest
    from leverproof.report.kill_matrix import DefectRun, render
    from leverproof.session import known_defects

    known = {defect.name: defect for defect in known_defects()}
    for name in options.defect:
        if name not in known:
            raise UsageError(f"no defect {name!r}", "--defect", nearest(name, known), "defect")
    runs: list[DefectRun] = []
    with tempfile.TemporaryDirectory(prefix="leverproof-") as folder:
        for name, defect in known.items():
            if not options.defect or name in options.defect:
                code, fired = _one(options, name, defect.variants[0], Path(folder) / name)
                expected, borderline = frozenset(defect.fires), frozenset(defect.may_fire)
                runs.append(DefectRun(name, defect.size, expected, fired, code, borderline))
    say(render(runs, width=width()))
    return 0


def _one(options: argparse.Namespace, defect: str, sheet: str, out: Path) -> tuple[int, frozenset[str]]:
    from leverproof.record.reader import read_record
    from leverproof.report.kill_matrix import fired_cases
    from leverproof.session import RunRequest, run_session

    request = RunRequest(
        stand=None,
        sheet=sheet,
        cases=(),
        case_folders=(),
        subjects=(),
        seed=options.seed,
        out=out,
        defect=defect,
        command=options.words,
    )
    with ProgressLine() as progress:
        code = run_session(request, progress)
    return code, fired_cases(read_record(out))
