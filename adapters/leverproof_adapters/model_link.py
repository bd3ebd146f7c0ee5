"""The line to one model: a byte channel, and the child process behind it when the harness started one.

Programs on their standard streams, programs that listen on TCP and our own worker processes differ only here.
"""

from __future__ import annotations

import errno
import shutil
from collections.abc import Sequence
from pathlib import Path

from leverproof.errors import InputError
from leverproof.stand.frames import CAPABILITY
from leverproof.stand.port import StandFile
from leverproof.stand.trouble import trouble
from leverproof.there import is_file
from leverproof_adapters.byte_channel import ByteChannel
from leverproof_adapters.child_process import Child, exit_words

LAST_WORDS = 1.0
"""Seconds a model that closed its output is given to end by itself, so that its exit code can be told."""


class ModelLink:
    """A channel and, for a program the harness started, its process; owns both."""

    def __init__(self, channel: ByteChannel, child: Child | None) -> None:
        self.channel = channel
        self._child = child

    @property
    def group(self) -> int | None:
        """The id of the model's process group; None for a model somebody else runs."""
        return None if self._child is None else self._child.group

    @property
    def ending(self) -> str:
        """What a missed deadline does, in words."""
        return "the connection was closed" if self._child is None else "the process group was ended"

    def end(self, *, patience: float = 0.0) -> str:
        """Closes the channel, ends the process group and says in words how it ended.

        A process has ``patience`` seconds to end by itself. May be called twice.
        """
        self.channel.close_output()
        words = self.ending if self._child is None else exit_words(self._child.end(patience=patience))
        self.channel.close()
        return words

    @property
    def exited(self) -> bool:
        """Whether the model's process has ended already, whatever it has left behind."""
        return self._child is not None and self._child.has_exited()

    def abort(self) -> None:
        """Ends the model's process at once, from any thread."""
        if self._child is not None:
            self._child.abort()

    @property
    def misfortune(self) -> str:
        """How the model's process ended in words, when it ended by itself and not in order; else empty."""
        return "" if self._child is None else self._child.misfortune

    def tail(self) -> str:
        """The last 64 KiB of what the model's process said beside the protocol."""
        return "" if self._child is None else self._child.tail()


def command_line(stand: StandFile, defect: str | None) -> list[str]:
    """The words that start the program of ``stand.command``, with a seeded defect asked for behind them.

    A first word with a slash is a file beside the stand file, else it is looked up in PATH. Raises
    :class:`StandError` ``no_program`` when there is none and :class:`InputError` when the program cannot be told
    of the defect.
    """
    words = [_program(stand), *stand.command[1:]]
    if defect is None:
        return words
    if not stand.defect_argument:
        raise InputError(
            f"the program cannot be told to build in {defect!r}: 'defect_argument' is missing",
            f"{stand.path}: defect_argument",
            'write for example defect_argument = "--defect"',
            "missing_key",
        )
    return [*words, stand.defect_argument, defect]


def _program(stand: StandFile) -> str:
    first = stand.command[0]
    if "/" in first:
        path = (Path(stand.path).parent / first).absolute()
        found = str(path) if is_file(path) else None
        place = "beside the stand file"
        advice = "write or build it there, or change the command: it starts in the folder of the stand file"
        if Path(first).is_absolute():
            place, advice = "there", "write or build it, or change the command"
    else:
        found = shutil.which(first)
        place = "in PATH"
        advice = "install it; a program beside the stand file is written with a slash, ./NAME"
    if found is None:
        hint = f"build it first: {stand.build_hint}" if stand.build_hint else advice
        message = f"no program {first!r} {place}"
        raise trouble(message, "no_program", where=f"{stand.path}: command", hint=hint)
    return found


def start_program(stand: StandFile, words: Sequence[str], *, speaks: bool) -> Child:
    """The program of a stand, started in the folder of its stand file; see :class:`Child` for ``speaks``.

    Raises :class:`StandError` ``no_program`` when it cannot be run.
    """
    try:
        return Child(words, str(Path(stand.path).parent), speaks=speaks)
    except (OSError, ValueError) as reason:
        raise trouble(
            f"{stand.command[0]!r} cannot be started: {reason}",
            "no_program",
            where=f"{stand.path}: command",
            hint=stand.build_hint or _advice(reason),
        ) from reason


def _advice(reason: Exception) -> str:
    if isinstance(reason, OSError) and reason.errno in (errno.EACCES, errno.ENOEXEC):
        return "make it executable (chmod +x), or begin the command with what runs it, such as python3"
    return ""


def refuse_options(stand: StandFile, known: Sequence[str]) -> None:
    """Raises :class:`InputError` for an option of the stand file that the adapter does not have."""
    for key in sorted(stand.options):
        if key not in known:
            raise InputError(
                f"kind {stand.kind!r} has no option {key!r}",
                f"{stand.path}: options.{key}",
                f"known: {', '.join(known)}" if known else "",
                "unknown_key",
            )


def wants_frames(stand: StandFile, known: Sequence[str] = ()) -> bool:
    """The option ``float64_frames`` of a stand, true unless it says otherwise; ``known`` are the options the adapter
    has beside it. Raises :class:`InputError` for any other option and for a value that is neither true nor
    false."""
    refuse_options(stand, (*known, CAPABILITY))
    return truth(stand, CAPABILITY, otherwise=True)


def truth(stand: StandFile, key: str, *, otherwise: bool) -> bool:
    """An option that is true or false, ``otherwise`` when it is absent."""
    value = stand.options.get(key, otherwise)
    if not isinstance(value, bool):
        raise InputError(f"{value!r} is neither true nor false", f"{stand.path}: options.{key}", code="type")
    return value
