"""Worker processes: Python children that host native code behind the wire protocol, always with float64 frames.

A crash, a hang, ``exit()``, a print to standard output or a changed floating-point mode in the code they host stays
theirs. ``python -m leverproof_adapters.worker MODULE:FACTORY SETTINGS`` is such a child: it calls the factory with the
settings, a JSON object, and serves the session it returns.
"""

from __future__ import annotations

import faulthandler
import json
import os
import sys
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO

import leverproof
from leverproof.errors import LeverproofError
from leverproof.stand.port import Session, StandFile
from leverproof.stand.server import Server, own_streams
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import WireError, decode, encode
from leverproof_adapters.child_process import Child
from leverproof_adapters.stdio import link_to, needs_posix
from leverproof_adapters.wire_session import WireSession


def open_worker(stand: StandFile, factory: str, settings: Mapping[str, Any]) -> WireSession:
    """A session hosted in a worker started in the stand file's folder.

    ``factory`` is ``module:function``; it takes ``settings``, which must be plain JSON, and returns a
    :class:`Session`, or raises :class:`LeverproofError`, whose words and code the handshake then ends with. Its
    module is imported in the worker only.
    """
    needs_posix(stand)
    # The stand file's folder is no place to import from: -P keeps it out.
    argv = [sys.executable, "-P", "-m", __name__, factory, json.dumps(dict(settings))]
    try:
        child = Child(argv, str(Path(stand.path).parent), speaks=True, environment=_environment())
    except OSError as reason:
        raise trouble(f"the worker cannot be started: {reason}", "no_program", where=stand.path) from reason
    return WireSession(link_to(child), stand.deadlines)


def _environment() -> dict[str, str]:
    """This process's environment, with the very packages it runs found first."""
    roots = [str(Path(package).resolve().parents[1]) for package in (leverproof.__file__, __file__)]
    given = os.environ.get("PYTHONPATH")
    path = os.pathsep.join(dict.fromkeys([*roots, *([given] if given else [])]))
    return {**os.environ, "PYTHONPATH": path}


def main(words: list[str]) -> None:
    """The worker itself; ``words`` are the factory and its settings."""
    faulthandler.enable()
    requests, replies = own_streams()
    module, _, name = words[0].partition(":")
    with requests, replies:
        try:
            session: Session = getattr(import_module(module), name)(json.loads(words[1]))
        except LeverproofError as error:
            _decline(error, requests, replies)
            return
        Server(session).run(requests, replies)


def _decline(error: LeverproofError, requests: BinaryIO, replies: BinaryIO) -> None:
    """Answers the first request with what went wrong."""
    try:
        identity = decode(requests.readline()).get("id")
    except WireError:
        identity = None
    replies.write(encode({"id": identity, "error": {"code": error.code, "message": str(error)}}))


if __name__ == "__main__":
    main(sys.argv[1:])
