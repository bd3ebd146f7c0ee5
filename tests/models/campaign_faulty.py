"""A flyer that is itself at fault in one case."""

from __future__ import annotations

from typing import Any

from leverproof.campaign.flying import Flyer, Lines
from leverproof.campaign.model import Block


class FaultyFlyer(Flyer):
    """Divides by zero at 1,500 ft."""

    def __call__(self, block: Block, *beat: Any) -> Lines:
        if any(item.surroundings.get("pressure_altitude") == 1500.0 for item in block.items):
            raise ZeroDivisionError("in the harness")
        return super().__call__(block, *beat)
