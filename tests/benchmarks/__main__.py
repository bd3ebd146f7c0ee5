"""Runs the benchmarks and writes one table.

    python tests/benchmarks [NAME ...] [--quick] [--out DIR] [--page FILE]

Every bench file runs in a process of its own, one after the other. The table goes to standard output and, after each
bench, into ``DIR/benchmarks.md`` and ``DIR/benchmarks.json``; ``--page`` puts it between the two marks of a page. Exits
1 when an aim is missed or a bench fails; a bench that lacks something it needs is a line that says so.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from measurement import Row, as_installed, from_plain, table, to_plain

HERE = Path(__file__).resolve().parent
MORE_WORDS = {"overhead": ("--reference",)}
"""What a bench is also told when all are run."""
ORDER = (
    "start", "cases", "overhead", "one_lane", "stands", "fmi", "run", "predictor", "transients", "report", "guide",
    "campaign", "memory", "kill", "cluster",
)  # fmt: skip
BEGIN, END = "<!-- benchmarks: begin -->", "<!-- benchmarks: end -->"


def measured(name: str, words: Sequence[str]) -> tuple[list[Row], int]:
    """The rows of one bench, or the one that says why there are none; and the exit code of its process."""
    with tempfile.TemporaryDirectory() as scratch:
        found = Path(scratch, "rows.json")
        command = [
            sys.executable,
            str(HERE / f"bench_{name}.py"),
            "--json",
            str(found),
            *MORE_WORDS.get(name, ()),
            *words,
        ]
        done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        if found.is_file():
            return from_plain(json.loads(found.read_text("utf-8"))), done.returncode
    sys.stderr.write(done.stderr)
    last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
    return [Row(f"bench_{name}.py", None, "", clock="", note=last)], done.returncode


def machine() -> str:
    """Where and when, in words."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "leverproof"))
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    now = datetime.now(UTC).isoformat(timespec="minutes")
    return (
        f"{now}, {platform.system()} {platform.machine()}, {os.cpu_count()} processors, "
        f"Python {platform.python_version()}, {libraries}; load {load}"
    )


def as_markdown(rows: Sequence[Row], where: Sequence[str], *, quick: bool) -> str:
    """The table with what it was measured on."""
    warning = "**A quick run: it shows that every bench works and measures nothing.**\n\n" if quick else ""
    places = "\n".join(f"* {words}: {place}" for words, place in zip(("Begun", "Ended"), where, strict=False))
    return f"{warning}{places}\n\n{table(rows, 'github')}\n"


def put_into(page: Path, text: str) -> None:
    """Replaces what is between the marks of a page; ValueError when it has none."""
    before, begin, rest = page.read_text("utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"{page} has no place between {BEGIN} and {END}")
    page.write_text(f"{before}{BEGIN}\n{text}{END}{after}", "utf-8")


def keep(out: Path, rows: dict[str, list[Row]], where: list[str], *, quick: bool) -> None:
    """Both files, as far as things have gone."""
    every = [row for found in rows.values() for row in found]
    (out / "benchmarks.md").write_text(as_markdown(every, where, quick=quick), "utf-8")
    kept = {
        "where": where,
        "quick": quick,
        "benches": {name: to_plain(found) for name, found in rows.items()},
    }
    (out / "benchmarks.json").write_text(json.dumps(kept, indent=1), "utf-8")


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python tests/benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=f"of {', '.join(ORDER)}; all when none is given"
    )
    parser.add_argument(
        "--quick", action="store_true", help="tiny sizes: shows that it runs, measures nothing"
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="folder for benchmarks.md and benchmarks.json"
    )
    parser.add_argument(
        "--page", type=Path, metavar="FILE", help="a page that takes the table between its marks"
    )
    asked = parser.parse_args()
    if unknown := set(asked.names) - set(ORDER):
        parser.error(f"no bench {', '.join(sorted(unknown))}; there are {', '.join(ORDER)}")
    rows: dict[str, list[Row]] = {}
    where, failed = [machine()], False
    if asked.out is not None:
        asked.out.mkdir(parents=True, exist_ok=True)
    bytecode = tempfile.TemporaryDirectory()
    as_installed(os.environ, bytecode.name)
    for name in [name for name in ORDER if not asked.names or name in asked.names]:
        print(f"bench_{name}.py", file=sys.stderr, flush=True)
        rows[name], code = measured(name, ["--quick"] if asked.quick else [])
        failed = failed or code not in (0, 2)
        where[1:] = [machine()]
        if asked.out is not None:
            keep(asked.out, rows, where, quick=asked.quick)
    bytecode.cleanup()
    every = [row for found in rows.values() for row in found]
    if asked.page is not None:
        put_into(asked.page, as_markdown(every, where, quick=asked.quick))
    print(table(every))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
