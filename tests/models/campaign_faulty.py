"""A flyer that is itself at fault in one case."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from leverproof.campaign.flying import Flyer, Lines
from leverproof.campaign.model import Block


class FaultyFlyer(Flyer):
    """Divides by zero at 1,500 ft."""

    def __call__(self, block: Block, *beat: Any) -> Lines:
        if any(item.surroundings.get("pressure_altitude") == 1500.0 for item in block.items):
            raise ZeroDivisionError("in the harness")
        return super().__call__(block, *beat)


class LosesItsStudy(Flyer):
    """Its process ends in the step study, as often as there are marks to take away beside the plan."""

    def __call__(self, block: Block, *beat: Any) -> Lines:
        for mark in sorted(Path(self.plan.path).parent.glob("*.mark")) if not block.items else ():
            mark.unlink()
            os._exit(9)
        return super().__call__(block, *beat)


class DiesAfterTwo(Flyer):
    """Ends its process when it has handed over two items of a block of several: a kill from outside."""

    def __call__(self, block: Block, beat: Callable[[], None], keep: Callable[[str, bytes], None]) -> Lines:
        lines = super().__call__(block, beat)
        for item, line in zip(block.items, lines, strict=False):
            time.sleep(0.6)  # together longer than a worker keeps what it has finished
            keep(item.id, line)
            if len(block.items) > 1 and item is block.items[1]:
                os._exit(9)
        return lines
