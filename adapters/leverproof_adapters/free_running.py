"""Models that run on their own clock, over any link: the two methods beside those of stepped models, and the session
made of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.quantities import parse
from leverproof.stand.engines import PLACE
from leverproof.stand.free_running import CLOCK, FreeRunningSession
from leverproof.stand.own_clock import LONGEST_GAP
from leverproof.stand.port import Deadlines, Polled, Session, StandFile
from leverproof.stand.wire import WireError, decode_number, encode_number
from leverproof_adapters.model_link import ModelLink
from leverproof_adapters.wire_session import WireSession

GAP = "longest_gap"


def clock_options(stand: StandFile) -> tuple[str, ...]:
    """The options a stand has on top of those of its kind when its model runs on its own clock."""
    return (GAP,) if stand.clock == CLOCK else ()


def wire_session(link: ModelLink, deadlines: Deadlines, stand: StandFile, *, frames: bool) -> Session:
    """The session over ``link`` of a stand whose model is stepped, or of one on its own clock.

    Raises :class:`InputError` for an option of the stand that is no length of time."""
    if stand.clock != CLOCK:
        return WireSession(link, deadlines, frames=frames)
    try:
        gap = _longest_gap(stand)
    except InputError:
        link.end()
        raise
    return FreeRunningSession(
        FreeRunningWire(link, deadlines, frames=False),
        deadlines,
        discrete=discrete_names(stand),
        longest_gap=gap,
    )


def discrete_names(stand: StandFile) -> frozenset[str]:
    """The model's names of our discrete channels, of every engine, so that a lamp polled as 0 or 1 is never
    interpolated."""
    found: set[str] = set()
    for name in (name for name, ours in CHANNELS.items() if ours.states):
        theirs = stand.channels[name].name if name in stand.channels else name
        found |= {theirs, *(theirs.replace(PLACE, word) for word in stand.engines)}
        found |= {f"{theirs}_{word}" for word in stand.engines}
    return frozenset(found)


def _longest_gap(stand: StandFile) -> float:
    text = stand.options.get(GAP)
    where = f"{stand.path}: options.{GAP}"
    seconds = LONGEST_GAP if text is None else parse(text, where).to("s", where)
    if not 0.0 < seconds <= 60.0:
        raise InputError(f"a gap of {text!r} is not between 0 and 60 s", where, code="gap")
    return seconds


class FreeRunningWire(WireSession):
    """A free-running model behind the wire protocol: :class:`leverproof.stand.port.OwnClock`."""

    def begin(self, engine: str, values: Mapping[str, float]) -> None:
        """Puts the model back to its beginning."""
        self._request("reset", {"engine": engine, "values": _plain(values)}, self._deadlines.request)

    def tell(self, values: Mapping[str, float]) -> float:
        """Sets inputs at once; the model's time (s) from which they hold."""
        reply = self._request("tell", {"values": _plain(values)}, self._deadlines.request)
        return self._time("tell", reply.result)

    def poll(self) -> Polled:
        """The model's time (s) and all outputs."""
        result = self._request("poll", {}, self._deadlines.request).result
        stamp, values = self._time("poll", result), result.get("values")
        if not isinstance(values, dict):
            self._fail("the reply to poll has no object 'values'", "protocol")
        names = [signal.name for signal in self.hello().outputs]
        missing = [name for name in names if name not in values]
        if missing:
            self._fail(f"the reply to poll lacks {missing[0]!r}, an output that hello names", "protocol")
        try:
            return Polled(stamp, {name: decode_number(values[name], name) for name in names})
        except WireError as error:
            self._fail(f"the reply to poll: {error}", "protocol")

    def _time(self, method: str, result: dict[str, Any]) -> float:
        try:
            stamp = decode_number(result.get("time"), "time")
        except WireError as error:
            self._fail(f"the reply to {method}: {error}", "protocol")
        if not math.isfinite(stamp):
            self._fail(f"the reply to {method} is stamped {stamp}", "protocol")
        return stamp


def _plain(values: Mapping[str, float]) -> dict[str, float | str]:
    return {name: encode_number(value) for name, value in values.items()}
