"""What every command shares about the screen: streams, width, colour, errors in words, files written."""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

TRACEBACK = "LEVERPROOF_TRACEBACK"


def prepare() -> None:
    """Lets the streams write any character: what a terminal cannot show becomes an escape, never an error. A stream
    that is closed is taken for one that nobody reads."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started the command: what it would have said goes nowhere
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8"))
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def hush() -> None:
    """Points standard output nowhere, after its reader has gone, so that closing it says nothing."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def say(text: str) -> None:
    """Writes a result. A reader that has gone away (as in ``| head``) costs the rest of the text, nothing
    else: the command still ends with its own exit code. Raises :class:`leverproof.errors.UsageError` where the text
    cannot be written for another reason, such as a full disk behind ``> FILE``."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        hush()
    except OSError as reason:
        from leverproof.errors import UsageError

        hush()
        raise UsageError(
            f"cannot write this: {reason.strerror or reason}",
            "standard output",
            "make room; `leverproof report RECORD` prints the report of a run again",
            "output",
        ) from None


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
    from contextlib import suppress

    from leverproof.errors import LeverproofError

    if os.environ.get(TRACEBACK) == "1":
        import traceback

        traceback.print_exception(error)
    error = _of_a_name(error) or error
    known = isinstance(error, LeverproofError)
    # Where not even this can be written, the exit code says it.
    with suppress(OSError):
        print(problem_words(error) if known else _fault_words(error), file=sys.stderr, flush=True)
    return exit_code_of(error) if known else 4


def _of_a_name(error: Exception) -> Exception | None:
    """A name that no file can have, wherever it was tried, is the fault of whoever wrote it."""
    import errno

    from leverproof.errors import UsageError

    if isinstance(error, OSError) and error.errno in (errno.ENAMETOOLONG, errno.ELOOP):
        words = f"this is no name of a file: {error.strerror or error}"
        return UsageError(words, str(error.filename or ""), "name another file", "output")
    return None


def _fault_words(error: Exception) -> str:
    """An error that is none of ours, as lines."""
    from leverproof import __version__
    from leverproof.report.wording import visible

    told = visible(f"{type(error).__name__}: {error}")[:500]
    return (
        f"internal error: {told}\n"
        f"  this is a fault of leverproof {__version__}, not of your model: please report it\n"
        f"  with the command line and what {TRACEBACK}=1 shows"
    )


def problem_words(error: object) -> str:
    """An error of ours as lines: what, where, what to do next, and the tail of the model's own words."""
    from leverproof.errors import last_words
    from leverproof.report.wording import visible

    lines = [f"error: {visible(str(getattr(error, 'message', error)))}"]
    for key in ("where", "hint"):
        told = visible(str(getattr(error, key, "")))
        if told:
            lines.append(f"  {key}: {told}")
    ended, wrote = last_words(str(getattr(error, "evidence", "")))
    if ended:
        lines.append(f"  its process: {ended}")
    if wrote:
        lines += ["  the model wrote:", *(f"    {visible(line)}" for line in wrote.splitlines()[-10:])]
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
