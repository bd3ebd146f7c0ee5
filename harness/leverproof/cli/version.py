"""``leverproof version``: prints the version, or where the JSON Schemas of its files are."""

from __future__ import annotations

import argparse

from leverproof.cli.screen import say


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--schemas", action="store_true", help="print the folder of the JSON Schemas instead")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """One line."""
    if options.schemas:
        from leverproof.reference_data import reference_data

        say(f"{reference_data() / 'schemas'}\n")
        return 0
    from leverproof import __version__

    say(f"leverproof {__version__}\n")
    return 0
