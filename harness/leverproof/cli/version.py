"""``leverproof version``: prints the version."""

from __future__ import annotations

import argparse

from leverproof.cli.screen import say


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """One line."""
    from leverproof import __version__

    say(f"leverproof {__version__}\n")
    return 0
