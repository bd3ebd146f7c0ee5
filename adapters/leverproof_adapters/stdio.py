"""Models in any language, mounted as a child process that speaks the wire protocol on its standard streams.

Mounting runs the program named by the stand file. POSIX only: deadlines end whole process groups.
"""

from __future__ import annotations

import os

from leverproof.errors import InputError
from leverproof.stand.port import Session, StandFile
from leverproof.stand.wire import MOST_BANNER, MOST_BYTES
from leverproof_adapters.byte_channel import ByteChannel
from leverproof_adapters.child_process import Child
from leverproof_adapters.free_running import clock_options, wire_session
from leverproof_adapters.model_link import ModelLink, command_line, start_program, wants_frames


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session of the program of ``stand.command``, started in the stand file's folder.

    A seeded defect is asked for by ``[defect_argument, NAME]`` after the command. Raises :class:`StandError`
    ``no_program`` when the program does not exist or cannot be run, :class:`InputError` for a stand file that asks
    for what this adapter lacks. Option: ``float64_frames = false`` keeps rows readable.
    """
    needs_posix(stand)
    frames = wants_frames(stand, clock_options(stand))
    child = start_program(stand, command_line(stand, defect), speaks=True)
    return wire_session(link_to(child), stand.deadlines, stand, frames=frames)


def link_to(child: Child) -> ModelLink:
    """The link over the standard streams of a child that speaks the protocol there."""
    channel = ByteChannel(child.incoming, child.outgoing, most_bytes=MOST_BYTES, most_stray=MOST_BANNER)
    return ModelLink(channel, child)


def needs_posix(stand: StandFile) -> None:
    """Raises :class:`InputError` where there are no process groups to end."""
    if os.name != "posix":
        raise InputError(f"kind {stand.kind!r} needs a POSIX system", f"{stand.path}: kind", code="platform")
