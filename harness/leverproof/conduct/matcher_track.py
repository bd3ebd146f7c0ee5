"""One stretch of a recording made ready to be searched: where inputs stand, when levers rest, what is steady."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.conduct.hand import held
from leverproof.conduct.matcher_tolerances import LEVER, REST, REST_TIME, of_input
from leverproof.history import AFTER, BEFORE, Rows, Samples, Steadiness, steadiness
from leverproof.stand.recording import Recording, Stretch
from leverproof.timegrid import TICKS_PER_SECOND

Mask = NDArray[np.bool_]
WINDOW = BEFORE + AFTER
_MOST_KEPT = 400


class Track:
    """A stretch with its masks, each computed once. Rows are those of the stretch; ``last`` is its last row."""

    def __init__(self, recording: Recording, stretch: Stretch) -> None:
        self.grid = recording.grid
        self.inputs = recording.inputs
        self.outputs = recording.outputs
        self.columns = recording.columns
        self.resolution = recording.resolution
        self.data = stretch.data
        self.last = stretch.data.shape[0] - 1
        self.window = self.grid.rows(WINDOW)
        self._stretch = stretch
        self._step = self.grid.step / TICKS_PER_SECOND
        self._near: dict[tuple[str, float], Mask] = {}
        self._still: dict[str, Mask] = {}
        self._rows: Rows | None = None

    def time(self, row: int) -> float:
        """Time of a row by the recording's own clock, in s."""
        return self._stretch.at(row, self.grid)

    def column(self, name: str) -> Samples:
        """One channel over the stretch."""
        found: Samples = self.data[:, self.columns.index(name)]
        return found

    def near(self, name: str, place: float) -> Mask:
        """Rows at which an input is at ``place``, within what is allowed by hand."""
        key = (name, place)
        if key not in self._near:
            if len(self._near) >= _MOST_KEPT:
                self._near.clear()
            self._near[key] = np.abs(self.column(name) - place) <= of_input(name, place)
        return self._near[key]

    def coupled(self, lead: float) -> Mask:
        """Rows at which boost is where it follows the throttle to, within what is allowed by hand."""
        key = ("", lead)
        if key not in self._near:
            follows = np.clip(self.column("throttle") + lead, 0.0, 1.0)
            self._near[key] = np.abs(self.column("boost") - follows) <= LEVER
        return self._near[key]

    def still(self, name: str) -> Mask:
        """Rows at which an input has been at rest for a second; surroundings always count as at rest."""
        if name not in self._still:
            self._still[name] = self._rested(name)
        return self._still[name]

    def _rested(self, name: str) -> Mask:
        rows = self.grid.rows(REST_TIME)
        found = np.ones(self.last + 1, dtype=np.bool_)
        if CHANNELS[name].kind != "lever" or self.last < rows:
            return found
        view = np.lib.stride_tricks.sliding_window_view(self.column(name), rows + 1)
        allowed = 0.0 if CHANNELS[name].states else REST
        found[rows:] = view.max(axis=1) - view.min(axis=1) <= allowed
        return found

    def leaves(self, places: Mapping[str, float], row: int, lead: float | None) -> tuple[int, str]:
        """The first row from ``row`` on at which one of ``places`` is left, and which; the row after the last one and
        "" when none is. While coupled, boost is where the throttle takes it."""
        end, which = self.last + 1, ""
        for name, place in places.items():
            mask = self.coupled(lead) if name == "boost" and lead is not None else self.near(name, place)
            found = first_false(mask, row, end)
            if found < end:
                end, which = found, name
        return end, which

    def unsteady(self, watch: Mapping[str, float], end: int) -> dict[str, Steadiness]:
        """Watched channels that are not steady over the window of rows before ``end``, and levers that moved in it."""
        begin = end - self.window
        found = {}
        for name, limit in watch.items():
            if name in self.outputs:
                samples = np.ascontiguousarray(self.column(name)[begin:end])
                seen = gauged(samples, self._step, name, limit, self.resolution.get(name, 0.0))
                if seen.kind != "steady":
                    found[name] = seen
        return found

    def hands_off(self, end: int) -> bool:
        """Whether no lever moved within the window of rows before ``end``."""
        begin = end - self.window + self.grid.rows(REST_TIME)
        return all(bool(self.still(n)[begin:end].all()) for n in self.inputs if CHANNELS[n].kind == "lever")

    def rows(self) -> Rows:
        """The stretch as a history holds it. A lever at rest stands still in it: what is left in a still hand's
        position is noise, and would otherwise count as moving the lever all the time."""
        if self._rows is None:
            data = self.data.astype(np.float32)
            for index, name in enumerate(self.inputs):
                if CHANNELS[name].kind == "lever" and not CHANNELS[name].states:
                    data[:, index] = self._quiet(name)
            self._rows = data
        return self._rows

    def _quiet(self, name: str) -> Samples:
        values = self.column(name).copy()
        back = self.grid.rows(REST_TIME)
        for begin, end in runs(self.still(name), 0, self.last + 1):
            first = max(0, begin - back)
            if float(np.ptp(values[first:end])) <= 2.0 * REST:
                values[first:end] = held(name, float(np.median(values[first:end])))
        return values


def gauged(samples: Samples, step_seconds: float, name: str, limit: float, resolution: float) -> Steadiness:
    """Steadiness of a channel seen through a gauge: a needle that stays within one division is steady, and neither
    spread nor remaining change can be told better than to a division."""
    band = CHANNELS[name].band
    if not resolution:
        return steadiness(samples, step_seconds, band=band, remaining_limit=limit)
    if np.isfinite(samples).all() and float(np.ptp(samples)) <= resolution * (1.0 + 1e-6):
        return Steadiness("steady", float(np.ptp(samples)), 0.0)
    return steadiness(samples, step_seconds, band=band + resolution, remaining_limit=limit + resolution)


def first_false(mask: Mask, row: int, end: int) -> int:
    """The first row in [row, end) at which the mask is False, else ``end``."""
    part = mask[row:end]
    if not part.size:
        return end
    index = int(part.argmin())
    return end if part[index] else row + index


def runs(mask: Mask, begin: int, end: int) -> Iterator[tuple[int, int]]:
    """Unbroken runs [first, last) of True rows within [begin, end)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask[begin:end], [False])).astype(np.int8)))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield begin + first, begin + last
