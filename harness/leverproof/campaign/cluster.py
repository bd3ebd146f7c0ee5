"""The executor on a cluster of dask.distributed, for campaigns that are too large for one machine.

Each worker of the cluster flies its blocks in a process of its own, as the executor on local processes does: there too
a model that ends its process or hangs costs exactly its own case. What happens to a whole worker is the scheduler's
matter: a block whose worker is lost goes to another. A block whose workers are lost again and again is flown here, item
by item, in a process that may be lost; so the case that does it is named, and the others have their results.
"""

from __future__ import annotations

import queue
import re
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import Any

from leverproof import __version__
from leverproof.campaign.expand import alone
from leverproof.campaign.flying import Flyer, Lines
from leverproof.campaign.local import Done, Workers
from leverproof.campaign.model import Block, Plan
from leverproof.errors import UsageError

Client = Any
Future = Any
"""Of dask.distributed, which is imported only where a cluster is used, and does not tell the types of its methods."""

CONNECT, ANSWER, NO_WORKERS = 30.0, 30.0, 60.0
"""Seconds that the scheduler, an answer of it, and a first worker or one after the last was lost, are waited for."""
AHEAD = 2
"""Blocks handed out for each thread of the cluster: one is flown and one lies ready. What is under way takes memory,
and so no more is."""
_GLANCE, _PAUSE, _END = 5.0, 0.2, 5.0
_ADDRESS = re.compile(r"(tcp|tls|ucx|ws|wss)://[^\s/]+:\d{1,5}")


class ClusterError(UsageError):
    """The cluster cannot be reached or has gone; what was finished is kept."""


class Cluster:
    """A cluster at ``address`` (``tcp://host:port`` of its scheduler) that flies blocks; use it in a ``with``
    statement. ``jobs`` is how many it can fly at once.

    Raises :class:`ClusterError` where the extra ``cluster`` is not installed, where nobody answers or no worker comes,
    and where a worker has other files of a model or another leverproof."""

    def __init__(self, fly: Flyer, address: str, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._fly, self._address, self._clock = Flyer(_anywhere(fly.plan)), address, clock
        self._client: Client | None = None
        self._name = ""
        self._numbers = count()
        self.jobs = 0

    def __enter__(self) -> Cluster:
        self._client = _connected(self._address)
        self._name = f"leverproof-{self._client.id}"
        try:
            self._wait_for_workers(self._client)
            self._give(self._client)
        except BaseException:
            _close(self._client)
            raise
        return self

    def __exit__(self, *_: object) -> None:
        client, self._client = self._client, None
        if client is not None:
            with suppress(Exception):
                client.sync(client.scheduler.unregister_worker_plugin, name=self._name, callback_timeout=_END)
            _close(client)

    def run(self, blocks: Iterable[Block], on_done: Done, between: Callable[[], None] | None = None) -> None:
        """Flies all blocks; ``on_done`` is told each once with its lines, in the order in which they are done.
        ``between`` is called after each: workers have some blocks ahead."""
        if self._client is None:
            raise RuntimeError("a cluster flies blocks only in its with statement")
        under_way = _UnderWay(self._client, self._name, self._numbers)
        try:
            for future, block in self._finished(self._client, under_way, iter(blocks)):
                on_done(block, self._lines(future, block))
                if between is not None:
                    between()
        finally:
            under_way.cancel()

    def _finished(self, client: Client, under_way: _UnderWay, left: Iterator[Block]) -> Iterator[tuple[Future, Block]]:
        """What is done, as it is done; meanwhile blocks are handed out, no more than can be flown soon."""
        checked = self._clock()
        while True:
            while len(under_way) < AHEAD * self.jobs and (block := next(left, None)) is not None:
                under_way.add(block)
            if not len(under_way):
                return
            done = under_way.next(_GLANCE)
            if done is not None:
                yield done
            if self._clock() - checked > _GLANCE:
                self._wait_for_workers(client)
                checked = self._clock()

    def _wait_for_workers(self, client: Client) -> None:
        """Returns as soon as there is a worker, and notes how many threads there are."""
        until = self._clock() + NO_WORKERS
        while True:
            try:
                # The client's own method for this waits without end for a scheduler that hangs.
                threads = client.sync(client.scheduler.ncores, callback_timeout=ANSWER)
            except TimeoutError:
                raise self._gone(f"its scheduler did not answer for {ANSWER:g} s") from None
            except (OSError, RuntimeError, ValueError, _cancelled()) as reason:
                raise self._gone(reason) from None
            self.jobs = sum(threads.values())
            if self.jobs:
                return
            if self._clock() > until:
                raise ClusterError(
                    f"the cluster has no worker, and none came in {NO_WORKERS:g} s",
                    self._address,
                    "start workers with 'dask worker ADDRESS'; the same command goes on with what is not finished",
                    "no_workers",
                )
            time.sleep(_PAUSE)

    def _give(self, client: Client) -> None:
        """Gives every worker, and every one that comes later, what it needs to fly."""
        from leverproof.campaign.cluster_worker import FlyingPlugin

        try:
            client.register_plugin(FlyingPlugin(self._fly), name=self._name)
        except Exception as reason:
            raise self._unfit(reason) from None

    def _unfit(self, reason: object) -> ClusterError:
        return ClusterError(
            f"the workers cannot take the work: {reason}",
            self._address,
            f"every worker needs leverproof {__version__}, the same Python and the models at the same place",
            "workers",
        )

    def _lines(self, future: Future, block: Block) -> Lines:
        """The lines of a block that is done, wherever that was."""
        from distributed import KilledWorker

        from leverproof.campaign.cluster_worker import UnlikeError

        try:
            if future.status == "finished":
                lines: Lines = future.result(timeout=ANSWER)
                return lines
            reason = future.exception(timeout=ANSWER) if future.status == "error" else None
        except (OSError, _cancelled()) as lost:
            raise self._gone(lost) from None
        if reason is None:
            raise self._gone(f"its work was {future.status}")
        if isinstance(reason, UnlikeError):
            raise self._unfit(reason)
        if not isinstance(reason, KilledWorker):
            raise reason
        return self._flown_here(block)

    def _flown_here(self, block: Block) -> Lines:
        lines: list[bytes] = []
        with Workers(self._fly, 1) as workers:
            workers.run(alone(block) or [block], lambda _, told: lines.extend(told))
        return tuple(lines)

    def _gone(self, reason: object) -> ClusterError:
        return ClusterError(
            f"the cluster has gone: {reason}",
            self._address,
            "what was finished is kept; the same command goes on when the cluster is there again",
            "cluster_gone",
        )


class _UnderWay:
    """Blocks handed to the cluster, and a queue of those that are done."""

    def __init__(self, client: Client, name: str, numbers: Iterator[int]) -> None:
        self._client, self._name, self._numbers = client, name, numbers
        self._blocks: dict[str, tuple[Future, Block]] = {}
        self._done: queue.SimpleQueue[Future] = queue.SimpleQueue()

    def __len__(self) -> int:
        return len(self._blocks)

    def add(self, block: Block) -> None:
        """Hands one out."""
        from leverproof.campaign.cluster_worker import fly

        # A key of its own each time: a block that is flown again must not be given what is still known of the first.
        key = f"{self._name}-{next(self._numbers)}"
        future = self._client.submit(fly, self._name, block, key=key, pure=False)
        self._blocks[key] = (future, block)
        future.add_done_callback(self._done.put)

    def next(self, patience: float) -> tuple[Future, Block] | None:
        """One that is done; None where none is in so many seconds."""
        try:
            return self._blocks.pop(str(self._done.get(timeout=patience).key))
        except queue.Empty:
            return None

    def cancel(self) -> None:
        """Takes back what has not begun; what has is of no interest any more. Waits for nobody."""
        for future, _ in self._blocks.values():
            future.release()


def _connected(address: str) -> Client:
    if not _ADDRESS.fullmatch(address):
        raise ClusterError(
            f"{address!r} is no address of a scheduler", "--cluster", "write it as tcp://HOST:PORT", "address"
        )
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(
            "a cluster needs dask.distributed, which is not installed",
            "--cluster",
            "install the extra: pip install 'leverproof[cluster]'",
            "missing_extra",
        ) from None
    try:
        return Client(address, timeout=CONNECT, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as reason:
        raise ClusterError(
            f"no scheduler answers: {reason}",
            address,
            "start one with 'dask scheduler', and workers with 'dask worker ADDRESS'",
            "no_scheduler",
        ) from None


def _close(client: Client) -> None:
    """Lets the cluster go, which may have gone itself."""
    with suppress(TimeoutError, OSError):
        client.close(timeout=_END)


def _anywhere(plan: Plan) -> Plan:
    """The plan with stand files named from the root, as workers stand in folders of their own."""
    models = [
        replace(model, stand=replace(model.stand, path=str(Path(model.stand.path).absolute())))
        if Path(model.stand.path).is_file()
        else model
        for model in plan.models
    ]
    return replace(plan, models=tuple(models))


def _cancelled() -> Any:
    from concurrent.futures import CancelledError

    return CancelledError
