"""Keeps NumPy's linear algebra from starting threads that nothing here needs.

The library behind it starts a thread for every further processor as it is loaded, and each looks for work for about
0.1 s of processor time: as much as a command takes to load everything else. How many is read from the environment once,
at that moment.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

_VARIABLE = "OPENBLAS_NUM_THREADS"
_SETTINGS = (_VARIABLE, "GOTO_NUM_THREADS", "OMP_NUM_THREADS")
"""Where a user may have said how many, in the order the library reads them."""


@contextmanager
def one_thread() -> Iterator[bool]:
    """Who loads NumPy meanwhile, here or in a process started meanwhile, gets one thread, unless the user has said how
    many. The environment is as before afterwards: what is started later inherits nothing. Gives whether it was set; a
    process that was started meanwhile takes it back with :func:`forget`."""
    if any(name in os.environ for name in _SETTINGS):
        yield False
        return
    os.environ[_VARIABLE] = "1"
    try:
        yield True
    finally:
        del os.environ[_VARIABLE]


def forget() -> None:
    """Takes back what :func:`one_thread` set, so that models started from here are as the user has them."""
    os.environ.pop(_VARIABLE, None)


def load_numpy() -> None:
    """Loads NumPy so, if nobody has loaded it."""
    if "numpy" not in sys.modules:
        with one_thread():
            import numpy  # noqa: F401
