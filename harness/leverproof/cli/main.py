"""The entry point: parses, runs one command, and turns every error into words and an exit code.

Nothing heavy is imported here, nor by the command modules until their command runs: help must come at once.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from leverproof.cli.command_line import CommandLine
from leverproof.cli.screen import complain, prepare, say

_ABOUT = (
    "Moves the levers of a simulated piston engine through scripted sequences, records what comes out, and "
    "judges it against reference cases whose every number says where it comes from."
)

_COMMANDS = {
    "run": "mount a model, move its levers, judge what comes out and report",
    "report": "render a record again, from the record alone",
    "note": "add what a reviewer has judged by eye to a file beside a record, with name and date",
    "compare": "put several records side by side: who passes what, ties, curves, and what options change",
    "campaign": "fly cases over models, sheets, surroundings and coefficients, in blocks that resume; merge shards",
    "bundle": "put a record into one file with an index, to be handed on",
    "verify": "check a bundle, or a record: sums, and every finding judged again from the histories",
    "baseline": "accept a run with name and reason, hold later runs against it, and see what drifts",
    "discrepancies": "list open findings over several records: first and last seen, put off by whom until when",
    "cases": "list the reference cases; show one in plain words, begin or check one of your own",
    "card": "print cases as flight-test cards that a person flies by hand, with a table to fill in",
    "judge": "the verdict on a case flown by hand, from the filled table or from a recording",
    "predict": "compute from an engine sheet alone what the engine must show, each number with its band",
    "defects": "list the seeded defects that `run --defect NAME` builds into the embedded engine",
    "kills": "run the embedded engine with each seeded defect and print which case catches it",
    "coverage": "print which complaints about simulated engines the reference cases were seen to catch",
    "sheet": "`sheet new` asks what a handbook says and writes a sheet; `sheet check` holds one against physics",
    "stand": "`stand new` asks how a model is mounted and writes a first stand file, with an example if asked",
    "ledger": "list every tolerance with its reason; with records, how sharp each case is",
    "shakedown": "try a model and its stand item by item: for authors of models and adapters",
    "version": "print the version",
}


def parser(words: Sequence[str]) -> argparse.ArgumentParser:
    """The parser of the command line ``words``: every command, and the options of the one named there."""
    out = CommandLine(prog="leverproof", description=_ABOUT, epilog="Simulated engines only.")
    commands = out.add_subparsers(title="commands", metavar="COMMAND", required=True)
    named = next((word for word in words if word in _COMMANDS), None)
    for name, does in _COMMANDS.items():
        command = commands.add_parser(name, help=does, description=f"{does[0].upper()}{does[1:]}.")
        if name == named:
            importlib.import_module(f"leverproof.cli.{name}").add(command)
    return out


def _load_numpy() -> None:
    """Every command that does something loads NumPy sooner or later."""
    from leverproof.blas import load_numpy

    load_numpy()


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command line ``arguments`` (those of the process when None) and returns the exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    prepare()
    try:
        options = parser(words).parse_args(words)
        options.words = ("leverproof", *words)
        if words[0] != "version":
            _load_numpy()
        code: int = options.do(options)
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 2
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        code = 130
    except Exception as error:
        code = complain(error)
    try:
        say("")
    except Exception as error:
        code = max(code, complain(error))
    return code
