"""``leverproof defects``: lists the seeded defects of the embedded engine."""

from __future__ import annotations

import argparse

from leverproof.cli.screen import say


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """One line a defect: name, size, physical reason."""
    from leverproof.report.defect_list import render
    from leverproof.session import known_defects

    say(render([(d.name, d.size, d.reason) for d in known_defects()]))
    return 0
