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
from leverproof.campaign.model import Block, Plan
from leverproof.campaign.plan_file import print_of


class UnlikeError(Exception):
    """A worker would fly something else than what the command was given: other files of a model, another leverproof."""


class FlyingPlugin(WorkerPlugin):
    """Flies blocks on a worker. The processes, and the models mounted in them, are kept from one block to the next."""

    def __init__(self, fly: Flyer) -> None:
        self._fly, self._version = fly, __version__
        self._begin()

    def _begin(self) -> None:
        self._idle: list[Workers] = []
        self._ends = ExitStack()
        self._lock = Lock()
        self._unlike = "the worker has not begun"

    def __getstate__(self) -> dict[str, object]:
        return {"_fly": self._fly, "_version": self._version}

    def __setstate__(self, state: dict[str, object]) -> None:
        self.__dict__.update(state)
        self._begin()

    def setup(self, worker: Worker) -> None:
        """Begins; raises :class:`UnlikeError` where the worker would fly something else. A worker that comes later is
        not asked by anybody at this moment, so :meth:`fly` says it again."""
        self._unlike = _differences(self._fly.plan, self._version)
        if self._unlike:
            self._unlike = f"worker {worker.address} {self._unlike}"
            raise UnlikeError(self._unlike)
        # Dask marks the processes of its workers as daemons, and those may not have processes of their own lest they
        # be left behind. Ours are ended below, and end by themselves when their parent has gone.
        multiprocessing.current_process().daemon = False

    def teardown(self, worker: Worker) -> None:
        """Ends the processes, whatever they are doing."""
        self._ends.close()

    def fly(self, block: Block) -> Lines:
        """The lines of a block, flown in a process that a model may end."""
        if self._unlike:
            raise UnlikeError(self._unlike)
        workers = self._taken()
        lines: list[bytes] = []
        try:
            workers.run([block], lambda _, told: lines.extend(told))
        finally:
            with self._lock:
                self._idle.append(workers)
        return tuple(lines)

    def _taken(self) -> Workers:
        with self._lock:
            if self._idle:
                return self._idle.pop()
            return self._ends.enter_context(Workers(self._fly, 1))


def _differences(plan: Plan, version: str) -> str:
    """What is not here as it is where the plan was read, or ""."""
    if version != __version__:
        return f"has leverproof {__version__}, and {version} is needed"
    for model in plan.models:
        if print_of(model.stand, model.text, model.defect) != model.fingerprint:
            return f"has other files of {model.title!r}, or another leverproof, or none at {model.stand.path}"
    return ""


def fly(name: str, block: Block) -> Lines:
    """The lines of a block, flown by the worker that this is called on; ``name`` is that of its plugin."""
    plugin = get_worker().plugins[name]
    assert isinstance(plugin, FlyingPlugin)
    return plugin.fly(block)
