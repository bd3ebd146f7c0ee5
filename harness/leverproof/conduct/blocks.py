"""How a block's inputs are spread over its rows: the one rule that scheduler and pilot share."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.conduct.model import Block, Row

Values = NDArray[np.float64]


def discrete_columns(inputs: Sequence[str]) -> NDArray[np.bool_]:
    """Which of the input columns carry the index of a state, shape (inputs,)."""
    return np.array([bool(CHANNELS[name].states) for name in inputs], dtype=np.bool_)


def levelled(block: Block, discrete: NDArray[np.bool_]) -> Row:
    """The block's start with discrete channels already at their end state: they do not ramp."""
    if block.start is block.end:
        return block.start
    return np.where(discrete, block.end, block.start)


def ramp(start: Values, change: Values, share: Values) -> Values:
    """Inputs at ``share`` of the way, elementwise; a change of exactly 0 gives exactly ``start``."""
    return start + change * share


@lru_cache(maxsize=64)
def shares(rows: int) -> Values:
    """How far a ramp of ``rows`` rows has come in each row, read only."""
    share = (np.arange(rows, dtype=np.float64) + 0.5) / rows
    share.flags.writeable = False
    return share


def expand(block: Block, discrete: NDArray[np.bool_]) -> Values:
    """All rows of a block, shape (rows, inputs), bit for bit what a session was sent."""
    start = levelled(block, discrete)
    return ramp(start[None, :], (block.end - start)[None, :], shares(block.rows)[:, None])
