"""What every command shares about the screen: streams, width, colour, errors in words, files written."""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

TRACEBACK = "LEVERPROOF_TRACEBACK"


def prepare() -> None:
    """Lets the streams write any character: what a terminal cannot show becomes an escape, never an error."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def hush() -> None:
    """Points standard output nowhere, after its reader has gone, so that closing it says nothing."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def say(text: str) -> None:
    """Writes a result. A reader that has gone away (as in ``| head``) costs the rest of the text, nothing
    else: the command still ends with its own exit code."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        hush()


def width() -> int:
    """Columns to write for: as ``COLUMNS`` says, else the terminal, else 120; never under 60 nor over
    160."""
    said = os.environ.get("COLUMNS", "")
    columns = int(said) if said.isdecimal() else 0
    if not columns:
        try:
            columns = os.get_terminal_size(1).columns
        except OSError:
            columns = 0
    return min(max(columns or 120, 60), 160)


def colour() -> bool:
    """Whether standard output is a terminal that may be coloured (``NO_COLOR`` unset or empty)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def complain(error: Exception) -> int:
    """Says on standard error what went wrong, where and what to do next; returns the exit code."""
    from leverproof.errors import LeverproofError

    if os.environ.get(TRACEBACK) == "1":
        import traceback

        traceback.print_exception(error)
    if isinstance(error, LeverproofError):
        print(problem_words(error), file=sys.stderr)
        return exit_code_of(error)
    from leverproof import __version__
    from leverproof.report.wording import visible

    told = visible(f"{type(error).__name__}: {error}")[:500]
    print(f"internal error: {told}", file=sys.stderr)
    print(f"  this is a fault of leverproof {__version__}, not of your model: please report it", file=sys.stderr)
    print(f"  with the command line and what {TRACEBACK}=1 shows", file=sys.stderr)
    return 4


def problem_words(error: object) -> str:
    """An error of ours as lines: what, where, what to do next, and the tail of the model's own words."""
    from leverproof.report.wording import visible

    lines = [f"error: {visible(str(getattr(error, 'message', error)))}"]
    for key in ("where", "hint"):
        told = visible(str(getattr(error, key, "")))
        if told:
            lines.append(f"  {key}: {told}")
    evidence = str(getattr(error, "evidence", "")).strip()
    if evidence:
        lines += ["  the model wrote:", *(f"    {visible(line)}" for line in evidence.splitlines()[-10:])]
    return "\n".join(lines)


def exit_code_of(error: Exception) -> int:
    """The exit code that an error of ours brings when it ends a command."""
    from leverproof.errors import StandError

    return 3 if isinstance(error, StandError) else 2


def write_file(path: Path, text: str) -> None:
    """Writes a report; raises :class:`leverproof.errors.UsageError` when that cannot be done."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, content: bytes) -> None:
    """Writes a file of bytes; raises as :func:`write_file`."""
    from leverproof.errors import UsageError

    try:
        path.write_bytes(content)
    except OSError as reason:
        raise UsageError(
            f"cannot write this file: {reason.strerror or reason}", str(path), "name another file", "output"
        ) from None


def write_new(path: Path, text: str) -> None:
    """Writes a file that is not there yet, and its folder; raises :class:`leverproof.errors.UsageError` when it is
    there or cannot be written."""
    from leverproof.errors import UsageError

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    except FileExistsError:
        raise UsageError(
            "there already, nothing was written", str(path), "name another file with --out", "exists"
        ) from None
    except OSError as reason:
        raise UsageError(
            f"cannot be written: {reason.strerror or reason}", str(path), "name another file with --out", "output"
        ) from None
