"""One acceptance into a baseline at a time: of two at one instant the second would write over the first one's line."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # not on this system: two acceptances at one instant are then not kept apart
    fcntl = None  # type: ignore[assignment]

from leverproof.errors import UsageError

_ATTEMPTS = 5


@contextmanager
def holding(folder: Path) -> Iterator[None]:
    """Holds ``folder``, made where it is not there, until the end of the block or of the process, however it ends. The
    folder itself is locked, so that nothing is left in it; one that was made and has stayed empty is taken away again.
    Where folders cannot be locked nothing happens.

    Raises :class:`UsageError` where another acceptance holds it."""
    if fcntl is None or folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        yield
        return
    made = not folder.exists()
    number = _locked(folder)
    try:
        yield
    finally:
        if made:
            with suppress(OSError):
                folder.rmdir()
        if number is not None:
            os.close(number)


def _locked(folder: Path) -> int | None:
    """The descriptor that holds the folder; None where it cannot be held or made, which is for who writes to tell."""
    for _ in range(_ATTEMPTS):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            number = os.open(folder, os.O_RDONLY)
        except OSError:
            return None
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(number)
            raise _busy(folder) from None
        except OSError:
            os.close(number)
            return None
        with suppress(OSError):
            if os.path.samestat(os.fstat(number), folder.stat()):
                return number
        # Somebody who had made it, and left it empty, has taken it away meanwhile.
        os.close(number)
    raise _busy(folder)


def _busy(folder: Path) -> UsageError:
    return UsageError(
        "somebody else is accepting a run into this baseline at this moment; nothing was written",
        str(folder),
        "run `leverproof baseline check` again, and accept what still is to be accepted",
        "busy",
    )
