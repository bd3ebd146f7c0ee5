"""Opening a unit: judged, planned, unpacked into a private folder, and hosted by a worker process."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from leverproof.errors import InputError, LeverproofError
from leverproof.stand.port import Array, Hello, Session, StandFile, Start
from leverproof_adapters.fmi import options
from leverproof_adapters.fmi.archive import find_library, inspect, unpack
from leverproof_adapters.fmi.description import Description, describe, formatter, reader
from leverproof_adapters.fmi.mapping import map_channels
from leverproof_adapters.fmi.plan import Plan, write_plan
from leverproof_adapters.stdio import needs_posix
from leverproof_adapters.wire_session import WireSession
from leverproof_adapters.worker import open_worker

PREFIX = "leverproof-fmu-"
"""How the private folders of units begin, in the system's folder for temporary files."""
_HOSTED = "leverproof_adapters.fmi.session:hosted"


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session of the unit ``stand.target``, a file beside the stand file.

    Raises :class:`InputError`, before any of the unit's code runs, for what is wrong with the archive, its
    description, the stand's channel map or options; :class:`StandError` when the worker cannot be started.
    """
    needs_posix(stand)
    try:
        reader()
    except InputError as error:
        raise replace(error, where=f"{stand.path}: kind") from error
    seeded = options.seeded(stand, defect)
    target = Path(stand.path).parent / (seeded.target or stand.target)
    where = f"{stand.path}: options.defects.{defect}.target" if seeded.target else f"{stand.path}: target"
    archive = inspect(target, where)
    description = describe(archive)
    library = find_library(archive, description.major, description.identifier)
    plan = _plan(stand, description, str(library), seeded, defect)
    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    try:
        unpack(archive, library, folder)
        write_plan(plan, folder)
        return FmuSession(open_worker(stand, _HOSTED, {"folder": str(folder)}), folder, plan.warnings)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _plan(stand: StandFile, description: Description, library: str, seeded: options.Seeded, defect: str | None) -> Plan:
    mapping = map_channels(stand, description)
    given = options.settings(stand, "parameters", description) or ()
    place = f"{stand.path}: options.defects.{defect}.parameters"
    built = tuple(options.setting(name, value, description, f"{place}.{name}") for name, value in seeded.parameters)
    return Plan(
        major=description.major,
        token=description.token,
        library=library,
        model=description.name,
        version=description.version,
        origin=description.origin,
        lanes=options.lanes(stand, description),
        renewal=options.renewal(stand),
        inner_step=description.inner_step,
        formatter=formatter(),
        inputs=mapping.inputs,
        outputs=mapping.outputs,
        set_channels=mapping.set_channels,
        settings=(*given, *built),
        running=options.settings(stand, "running", description) or (),
        stopped=options.settings(stand, "stopped", description),
        warnings=(*description.warnings, *mapping.warnings),
    )


class FmuSession:
    """The session of a worker, with the unit's private folder, which is removed as soon as the worker is gone."""

    def __init__(self, session: WireSession, folder: Path, warnings: tuple[str, ...]) -> None:
        self._session, self._warnings = session, warnings
        self.folder = folder
        self._remove = weakref.finalize(self, shutil.rmtree, str(folder), ignore_errors=True)

    @property
    def group(self) -> int | None:
        """The id of the worker's process group."""
        return self._session.group

    @property
    def farewell(self) -> str:
        """What was wrong with how the worker ended when it was told to close."""
        return self._session.farewell

    def hello(self) -> Hello:
        """The unit's description; ``warnings`` are what the validator and the channel map gave."""
        try:
            said = self._session.hello()
        except LeverproofError:
            self._remove()
            raise
        return replace(said, warnings=(*self._warnings, *said.warnings))

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        try:
            return self._session.initialise(starts, step_ticks, inputs, outputs)
        except LeverproofError:
            self._remove()
            raise

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        try:
            return self._session.advance(lanes, rows)
        except LeverproofError:
            self._remove()
            raise

    def reset(self) -> None:
        """Gives all instances back."""
        try:
            self._session.reset()
        except LeverproofError:
            self._remove()
            raise

    def abort(self) -> None:
        """Ends the worker at once, from any thread."""
        self._session.abort()

    def close(self) -> None:
        """Ends the worker and removes the folder; never raises."""
        self._session.close()
        self._remove()
