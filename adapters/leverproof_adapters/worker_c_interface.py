"""What both loaders of a shared library check, and the words for what is not one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from leverproof.stand.trouble import trouble

INTERFACE = 1
_MOST_SIGNALS = 10_000
Integers = NDArray[np.int32]


def checked_count(count: int, kind: str) -> int:
    """``count`` if a description may have so many signals; raises :class:`StandError` else."""
    if not 1 <= count <= _MOST_SIGNALS:
        raise trouble(f"the description has {count} {kind}, expected 1 to {_MOST_SIGNALS:,}", "protocol")
    return count


def checked_interface(found: int, path: str) -> None:
    """Raises :class:`StandError` ``version`` when a library was built against another interface."""
    if found != INTERFACE:
        raise trouble(
            f"{path} has version {found} of the interface, the harness speaks {INTERFACE}: "
            "build it again with this leverproof.h",
            "version",
        )


def no_library(path: str, reason: str) -> Exception:
    """The error for a file that cannot be loaded."""
    return trouble(f"{path} is not a library that can be loaded here: {reason}", "no_program")


def no_function(path: str, name: str) -> Exception:
    """The error for a library without one of the six functions."""
    return trouble(f"{path} has no function {name}: it is not built against leverproof.h", "no_program")
