"""Engine models in shared libraries built against ``leverproof.h``, mounted in a worker process.

Mounting runs the library's code, from its loading on, and never in this process.
"""

from __future__ import annotations

import os
from pathlib import Path

import leverproof_adapters
from leverproof.stand.port import Session, StandFile
from leverproof.stand.trouble import trouble
from leverproof.there import is_file
from leverproof_adapters.model_link import refuse_options
from leverproof_adapters.worker import open_worker

LOADER = "loader"
LOADERS = ("ctypes", "cffi")


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session of the library ``stand.target``, a file beside the stand file.

    A seeded defect is asked for when the model is created. Raises :class:`StandError` ``no_program`` when there is no
    such file; a file that is no such library ends the handshake the same way. Option: ``loader``, ``ctypes`` or
    ``cffi``, which else is used where it is installed.
    """
    refuse_options(stand, (LOADER,))
    path = (Path(stand.path).parent / stand.target).absolute()
    where = f"{stand.path}: target"
    if not is_file(path):
        hint = f"build it first: {stand.build_hint}" if stand.build_hint else "check the target"
        raise trouble(f"no library {stand.target!r}", "no_program", where=where, hint=hint)
    if not os.access(path, os.R_OK):
        raise trouble(f"the library {stand.target!r} cannot be read", "no_program", where=where)
    settings = {"library": str(path), "defect": defect, LOADER: stand.options.get(LOADER)}
    return open_worker(stand, "leverproof_adapters.worker_c_library:hosted", settings)


def header() -> Path:
    """The published header ``leverproof.h``: inside the installed package, or beside it in a checkout."""
    package = Path(leverproof_adapters.__file__).resolve().parent
    for folder in (package, package.parent):
        if (folder / "include" / "leverproof.h").is_file():
            return folder / "include" / "leverproof.h"
    raise trouble("this installation carries no leverproof.h", "no_program", hint="install it from its wheel")
