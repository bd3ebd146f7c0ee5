"""The adapters installed here: entry points of the group ``leverproof.stands``, by kind."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any, cast

from leverproof.errors import InputError, nearest
from leverproof.stand.port import OpenStand, StandFile

GROUP = "leverproof.stands"


def installed_kinds() -> tuple[str, ...]:
    """The kinds of stand that can be mounted here, in order of name; empty when nothing is installed."""
    from importlib.metadata import entry_points

    return tuple(sorted({point.name for point in entry_points(group=GROUP)}))


def find_adapter(kind: str, where: str = "") -> OpenStand:
    """The adapter of a kind; raises :class:`InputError` when there is none or it cannot be imported."""
    from importlib.metadata import entry_points

    points = [point for point in entry_points(group=GROUP) if point.name == kind]
    if not points:
        known = installed_kinds()
        hint = nearest(kind, known) if known else "no adapter is installed: install the package with pip"
        raise InputError(f"unknown kind of stand {kind!r}", where, hint, "kind")
    try:
        return cast(OpenStand, points[0].load())
    except (ImportError, AttributeError) as reason:
        raise InputError(
            f"the adapter {kind!r} cannot be loaded: {reason}",
            where,
            f"it is {points[0].value!r} of the installed entry points",
            "adapter",
        ) from reason


def adapter_defects(adapter: OpenStand, stand: StandFile) -> Mapping[str, Mapping[str, Any]]:
    """The seeded defects an adapter's own models have, by name: what the optional function
    ``known_defects(stand)`` beside the adapter's entry point returns, in the form of the stand file's
    ``[defects]``."""
    module = sys.modules.get(getattr(adapter, "__module__", ""))
    known = getattr(module, "known_defects", None)
    return cast(Mapping[str, Mapping[str, Any]], known(stand)) if callable(known) else {}
