"""Models written in Python, mounted in the harness's own process.

Mounting runs the model's code: the file named by the stand file is imported and its factory called. Mount
only files you would run yourself. A model that hangs cannot be stopped from inside the same process: mount it
as a child process (kind ``stdio``) where that can happen.
"""

from __future__ import annotations

import hashlib
import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

from leverproof.errors import InputError, nearest
from leverproof.stand.guard import SEE_TRACEBACK, GuardedSession, guarded_call, traceback_tail
from leverproof.stand.port import Session, StandFile
from leverproof.stand.trouble import trouble
from leverproof.there import is_file

Factory = Callable[[dict[str, Any], str | None], Session]


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session made by ``factory(options, defect)`` of the stand's target ``file.py:factory``.

    The file is beside the stand file. Raises :class:`InputError` for a target that cannot be found, and
    :class:`StandError` ``crash`` when the file or the factory raises.
    """
    factory = _factory(stand)
    doing = f"its factory {stand.target!r} was called with two arguments, the options and the defect"
    session = guarded_call(lambda: factory(dict(stand.options), defect), doing)
    missing = [name for name in ("hello", "initialise", "advance", "reset", "close") if not hasattr(session, name)]
    if missing:
        raise trouble(
            f"{stand.target} returned a {type(session).__name__} without {', '.join(missing)}",
            "protocol",
            where=f"{stand.path}: target",
            hint="a session has hello, initialise, advance, reset and close",
        )
    return GuardedSession(session)


def _factory(stand: StandFile) -> Factory:
    where = f"{stand.path}: target"
    file, _, name = stand.target.rpartition(":")
    path = Path(stand.path).parent / file
    if not is_file(path):
        hint = stand.build_hint or "the file of the factory is beside the stand file"
        raise InputError(f"no such file {str(path)!r}", where, hint, "missing_file")
    module = _module(path, where)
    factory = getattr(module, name, None)
    if not callable(factory):
        made = [key for key, value in vars(module).items() if callable(value) and not key.startswith("_")]
        raise InputError(f"{file} has no function {name!r}", where, nearest(name, made), "target")
    found: Factory = factory
    return found


def _module(path: Path, where: str) -> ModuleType:
    """A fresh import of the file, under a name of its own so that two models cannot be taken for
    each other."""
    name = f"leverproof_model_{path.stem}_{hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:12]}"
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        raise InputError(f"{path.name} is not a Python file", where, "its name must end in .py", "target")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    sys.path.insert(0, str(path.parent))
    try:
        spec.loader.exec_module(module)
    except (Exception, SystemExit) as error:
        del sys.modules[name]
        raise trouble(
            f"importing {path.name} raised {type(error).__name__}: {error}",
            "crash",
            where=where,
            hint=SEE_TRACEBACK,
            evidence=traceback_tail(error),
        ) from error
    finally:
        sys.path.remove(str(path.parent))
    return module
