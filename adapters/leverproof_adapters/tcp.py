"""Models in any language that listen on TCP and speak the wire protocol there, one connection a session.

The harness starts the program when the stand file has a command, else it connects to one that runs already. Only
this machine's own addresses are spoken to unless the stand file allows more: the protocol has no authentication.
"""

from __future__ import annotations

import ipaddress
import os
import socket
import time
from collections.abc import Callable
from dataclasses import replace

from leverproof.errors import InputError, StandError
from leverproof.stand.port import Session, StandFile
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import MOST_BANNER, MOST_BYTES
from leverproof_adapters.byte_channel import ByteChannel
from leverproof_adapters.child_process import Child, exit_words
from leverproof_adapters.free_running import clock_options, wire_session
from leverproof_adapters.model_link import (
    LAST_WORDS,
    ModelLink,
    command_line,
    start_program,
    truth,
    wants_frames,
)
from leverproof_adapters.stdio import needs_posix

ALLOW_REMOTE = "allow_remote"
_PAUSE = 0.02
"""Seconds between two attempts to reach a program that is coming up."""
_LEAST = 0.05
"""Seconds the handshake gets at least, however long the program took to listen."""


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session over a connection to ``stand.target``, ``host:port``.

    With a command, the program is started in the stand file's folder and has the start deadline to listen; the word
    ``{port}`` in an argument is replaced by the port, and port 0 takes a free one. Options: ``allow_remote`` and
    ``float64_frames``. Raises :class:`InputError` for a target that is not allowed, :class:`StandError`
    ``no_program`` when there is no program or nobody listens, ``no_handshake`` when it does not listen in time.
    """
    needs_posix(stand)
    frames = wants_frames(stand, (ALLOW_REMOTE, *clock_options(stand)))
    host, port = _target(stand)
    addresses = _addresses(stand, host, port)
    began = time.monotonic()
    if not stand.command:
        if defect is not None:
            raise InputError(
                f"a program that runs already cannot be told to build in {defect!r}",
                f"{stand.path}: command",
                "name the command that starts it",
                "missing_key",
            )
        connection, child = _running(stand, addresses), None
    else:
        if port == 0:
            port = _free_port(addresses[0])
            addresses = [(family, (address[0], port, *address[2:])) for family, address in addresses]
        words = [word.replace("{port}", str(port)) for word in command_line(stand, defect)]
        child = start_program(stand, words, speaks=False)
        connection = _coming_up(stand, addresses, child, began)
    link = ModelLink(_channel(connection), child)
    left = stand.deadlines.start - (time.monotonic() - began)
    deadlines = replace(stand.deadlines, start=max(_LEAST, round(left, 3)))
    return wire_session(link, deadlines, stand, frames=frames)


_Address = tuple[socket.AddressFamily, tuple[str | int, ...]]


def _target(stand: StandFile) -> tuple[str, int]:
    host, _, port = stand.target.rpartition(":")
    return host.removeprefix("[").removesuffix("]"), int(port)


def _addresses(stand: StandFile, host: str, port: int) -> list[_Address]:
    """What the host's name stands for; every one must be this machine's own unless more is allowed."""
    where = f"{stand.path}: target"
    allowed = truth(stand, ALLOW_REMOTE, otherwise=False)
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as reason:
        raise InputError(f"no such host {host!r}: {reason}", where, code="target") from reason
    addresses: list[_Address] = [(family, (*address,)) for family, _, _, _, address in found]
    strange = [address[0] for _, address in addresses if not ipaddress.ip_address(str(address[0])).is_loopback]
    if strange and not allowed:
        raise InputError(
            f"{host!r} is {strange[0]}, not this machine's own address",
            where,
            "write 127.0.0.1, or allow_remote = true in [options] if you trust the way there",
            "remote",
        )
    return addresses


def _free_port(address: _Address) -> int:
    with socket.socket(address[0], socket.SOCK_STREAM) as listener:
        listener.bind((address[1][0], 0, *address[1][2:]))
        return int(listener.getsockname()[1])


def _connect(addresses: list[_Address], seconds: float) -> socket.socket:
    """A connection to the first address that takes it; raises the last :class:`OSError`."""
    trouble_found: OSError | None = None
    for family, address in addresses:
        connection = socket.socket(family, socket.SOCK_STREAM)
        connection.settimeout(max(_PAUSE, seconds))
        try:
            connection.connect(address)
            if connection.getsockname() == connection.getpeername():
                # A port of this machine that nobody has may be given to the caller itself.
                raise ConnectionRefusedError("the connection met itself")
        except OSError as reason:
            connection.close()
            trouble_found = reason
        else:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return connection
    assert trouble_found is not None
    raise trouble_found


def _running(stand: StandFile, addresses: list[_Address]) -> socket.socket:
    try:
        return _connect(addresses, stand.deadlines.start)
    except OSError as reason:
        raise trouble(
            f"nobody answers at {stand.target}: {reason}",
            "no_program",
            where=f"{stand.path}: target",
            hint="start the program first, or name its command in the stand file",
        ) from reason


def _coming_up(
    stand: StandFile,
    addresses: list[_Address],
    child: Child,
    began: float,
    clock: Callable[[], float] = time.monotonic,
) -> socket.socket:
    """A connection to a program just started, which has the start deadline to listen."""
    until = began + stand.deadlines.start
    while True:
        try:
            return _connect(addresses, until - clock())
        except OSError as reason:
            if child.wait(_PAUSE):
                words = exit_words(child.end(patience=LAST_WORDS))
                raise _no_listener(f"the model ended before it listened: {words}", child) from reason
            if clock() >= until:
                seconds = stand.deadlines.start
                words = f"nobody listened at port {addresses[0][1][1]} within {seconds:g} s ({reason}); "
                child.end()
                raise _no_listener(words + "the process group was ended", child) from reason


def _no_listener(message: str, child: Child) -> StandError:
    words, tail = exit_words(child.end()), child.tail()
    return trouble(message, "no_handshake", evidence=f"{words}\n{tail}" if tail else words)


def _channel(connection: socket.socket) -> ByteChannel:
    """A channel that owns the connection, once as what is read and once as what is written."""
    connection.setblocking(False)
    incoming, outgoing = os.dup(connection.fileno()), os.dup(connection.fileno())
    connection.close()
    return ByteChannel(incoming, outgoing, most_bytes=MOST_BYTES, most_stray=MOST_BANNER)
