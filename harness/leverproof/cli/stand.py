"""``leverproof stand new``: writes a first stand file, sheet and adapter from the answers to a few questions."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from leverproof.cli.answers import Lines
from leverproof.cli.screen import say


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes: an option for every question."""
    from leverproof.stand.authoring.questions import QUESTIONS

    actions = parser.add_subparsers(title="to begin one", metavar="new", required=True)
    new = actions.add_parser(
        "new",
        allow_abbrev=False,
        help="ask how a model is mounted and write the stand file",
        description="Asks how a model is mounted and writes the stand file, a sheet to change and, with --example, a "
        "small working adapter. Every question is also an option; nothing that exists is overwritten.",
    )
    new.add_argument("--example", metavar="NAME", help="begin with this example, its adapter's text included")
    new.add_argument("--list", action="store_true", help="list the examples, and write nothing")
    new.add_argument("--out", metavar="DIR", type=Path, default=Path(), help="where it is written (default: here)")
    new.add_argument("--defaults", action="store_true", help="ask nothing: what no option answers is the default")
    for question in QUESTIONS:
        new.add_argument(
            question.option,
            metavar="TEXT",
            action="append" if question.many else "store",
            help=question.words[:1].lower() + question.words[1:] + ("; may be repeated" if question.many else ""),
        )
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Writes the files and prints what to do next."""
    from leverproof.stand.authoring.examples import answered, defaults, find_example, installed_examples
    from leverproof.stand.authoring.files import draft, write
    from leverproof.stand.authoring.interview import interview
    from leverproof.stand.authoring.questions import QUESTIONS

    if options.list:
        say("".join(f"{entry.name:15} {entry.does}\n" for entry in installed_examples().values()))
        return 0
    given = {q.key: getattr(options, q.key) for q in QUESTIONS if getattr(options, q.key) is not None}
    example = find_example(options.example) if options.example else None
    told = {"known": answered(example), "defaults": defaults(example)} if example else {}
    answers = interview(given, Lines(silent=options.defaults), **told)
    planned = draft(answers, options.out, example)
    first, *others = write(planned)
    stand = shlex.quote(str(first))
    say("".join(f"written: {path}\n" for path in (first, *others)))
    say("".join(f"note: {remark}\n" for remark in planned.remarks))
    if planned.stand.build_hint:
        say(f"to build it, in {first.parent}: {planned.stand.build_hint}\n")
    tried = "" if planned.stand.kind == "recording" else f"  leverproof shakedown --stand {stand}\n"
    say(f"then:\n{tried}  leverproof run --stand {stand}\n")
    return 0
