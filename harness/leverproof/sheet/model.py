"""An engine sheet as data."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Datum:
    """A datum and where it comes from. ``value`` is a float in ``unit``, or a word with unit "". ``doubt`` is U95 in
    ``unit`` (a difference), None when nobody stated it; ``from_model`` marks a number obtained from the model under
    test, which makes every finding on it self-referential."""

    value: float | str
    unit: str
    source: str
    doubt: float | None = None
    from_model: bool = False


@dataclass(frozen=True)
class EngineSheet:
    """The data of one engine. ``data`` maps a path such as ``takeoff.manifold_pressure`` to its datum; ``levers``
    maps each lever the engine has to its travel per second (0 for levers with named states)."""

    id: str
    title: str
    revision: str
    caution: str
    data: dict[str, Datum]
    levers: dict[str, float] = field(default_factory=dict)
    path: str = ""
    text: str = ""

    def word(self, path: str) -> str:
        """A hardware word such as ``hardware.arrangement``; "" when the sheet does not give it."""
        datum = self.data.get(path)
        return datum.value if datum is not None and isinstance(datum.value, str) else ""

    def number(self, path: str) -> Datum | None:
        """A numeric datum, or None when the sheet does not give it."""
        datum = self.data.get(path)
        return datum if datum is not None and not isinstance(datum.value, str) else None
