"""The parser of every command: what is wrong with a command line is told as everything else that is refused."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Iterator, Sequence

from leverproof.cli.screen import width

TYPE_CHECKING = False
if TYPE_CHECKING:
    # Neither argparse nor anything else that help needs imports this.
    from typing import Any, NoReturn

_OF_ONE = r"(?s)argument (?P<which>[^:]+): (?P<what>.*)"
_NO_NUMBER = r"(?s)invalid int value: (?P<found>.*)"


def formatter(prog: str) -> argparse.HelpFormatter:
    """Given its width, argparse has no need to import what looks for one: help comes some 3 ms sooner."""
    return argparse.HelpFormatter(prog, max_help_position=28, width=min(width(), 100))


class CommandLine(argparse.ArgumentParser):
    """A parser that takes no abbreviations and raises :class:`leverproof.errors.UsageError` in place of leaving."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"allow_abbrev": False, "formatter_class": formatter, **options})

    def parse_known_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """As the parser's own, but what this command does not know is refused by it, who knows its options, and a
        misspelt option before one that is missing for that."""
        unknown = [word for word in self._own(args or ()) if word.partition("=")[0] not in self._known()]
        if unknown:
            self._refuse(unknown)
        found, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self._refuse(unknown)
        return found, []

    def error(self, message: str) -> NoReturn:
        """Refuses what argparse objects to."""
        one = re.fullmatch(_OF_ONE, message)
        what = one["what"] if one else message
        number = re.fullmatch(_NO_NUMBER, what)
        if number:
            what = f"expected a whole number, found {number['found']}"
        raise self._refusal(what, f" {one['which']}" if one else "", self._help())

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        choices = action.choices
        if choices is None or value in choices:
            return
        known = [str(choice) for choice in choices]
        if action.option_strings:
            words = f"{value!r} is not one of {', '.join(known)}"
            raise self._refusal(words, f" {'/'.join(action.option_strings)}", self._near(str(value), known))
        raise self._refusal(f"no command {value!r}", "", self._near(str(value), known))

    def _refuse(self, unknown: Sequence[str]) -> NoReturn:
        option = next((word.partition("=")[0] for word in unknown if word.startswith("-")), None)
        if option is not None:
            raise self._refusal(f"no option {option!r}", "", self._near(option, self._known()))
        hint = f"a text with blanks in it stands in quotes; {self._help()}"
        raise self._refusal(f"one word too many: {unknown[0]!r}", "", hint)

    def _own(self, words: Sequence[str]) -> Iterator[str]:
        """The options among the words that are this parser's: those before ``--`` and before a command under it."""
        commands = next((action.choices or () for action in self._actions if action.nargs == argparse.PARSER), ())
        for word in words:
            if word == "--" or word in commands:
                return
            if word.startswith("--"):
                yield word

    def _known(self) -> list[str]:
        return [word for action in self._actions for word in action.option_strings if word.startswith("--")]

    def _near(self, word: str, known: Iterable[str]) -> str:
        from leverproof.errors import nearest

        hint = nearest(word, known)
        return hint if hint.startswith("did you mean") else self._help()

    def _help(self) -> str:
        return f"`{self.prog} --help` says what it takes"

    def _refusal(self, what: str, which: str, hint: str) -> Exception:
        from leverproof.errors import UsageError

        return UsageError(what, f"{self.prog}{which}", hint, "command_line")
