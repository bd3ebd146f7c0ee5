"""What lives on each worker of a cluster: processes that fly blocks, one for each thread that is given one.

Imported where dask.distributed is installed, and nowhere else."""

from __future__ import annotations

import multiprocessing
from contextlib import ExitStack
from threading import Lock

from distributed import Worker, WorkerPlugin, get_worker

from leverproof import __version__
from leverproof.campaign.flying import Flyer, Lines
from leverproof.campaign.local import Workers
from leverproof.campaign.model import Block


class VersionError(Exception):
    """A worker has another version of leverproof than the command: what it gives might be something else."""


class FlyingPlugin(WorkerPlugin):
    """Flies blocks on a worker. The processes, and the models mounted in them, are kept from one block to the next."""

    def __init__(self, fly: Flyer) -> None:
        self._fly, self._version = fly, __version__
        self._idle: list[Workers] = []
        self._ends = ExitStack()

    def __getstate__(self) -> dict[str, object]:
        return {"_fly": self._fly, "_version": self._version}

    def __setstate__(self, state: dict[str, object]) -> None:
        self.__dict__.update(state, _idle=[], _ends=ExitStack())

    def setup(self, worker: Worker) -> None:
        """Begins; raises :class:`VersionError` where the worker is of another version."""
        if self._version != __version__:
            raise VersionError(f"{worker.address} has leverproof {__version__}, and {self._version} is needed")
        # Dask marks the processes of its workers as daemons, and those may not have processes of their own lest they
        # be left behind. Ours are ended below, and end by themselves when their parent has gone.
        multiprocessing.current_process().daemon = False

    def teardown(self, worker: Worker) -> None:
        """Ends the processes, whatever they are doing."""
        self._ends.close()

    def fly(self, block: Block) -> Lines:
        """The lines of a block, flown in a process that a model may end."""
        workers = self._taken()
        lines: list[bytes] = []
        try:
            workers.run([block], lambda _, told: lines.extend(told))
        finally:
            with _LOCK:
                self._idle.append(workers)
        return tuple(lines)

    def _taken(self) -> Workers:
        with _LOCK:
            if self._idle:
                return self._idle.pop()
            return self._ends.enter_context(Workers(self._fly, 1))


_LOCK = Lock()


def fly(name: str, block: Block) -> Lines:
    """The lines of a block, flown by the worker that this is called on; ``name`` is that of its plugin."""
    plugin = get_worker().plugins[name]
    assert isinstance(plugin, FlyingPlugin)
    return plugin.fly(block)
