"""Numbers and channels in the words a finding uses."""

from __future__ import annotations

import math

from leverproof.channels import CHANNELS

SIGNIFICANT = 4


def number(value: float) -> str:
    """Four significant digits, thousands separated, never an exponent: ``18,254``, ``52.03``, ``0.1054``."""
    if not math.isfinite(value):
        return "not a finite number"
    if value == 0.0:
        return "0"
    digits = max(0, SIGNIFICANT - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(digits, 12)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def amount(value: float, unit: str) -> str:
    """The number with its unit; a ratio has none."""
    return number(value) if unit == "1" else f"{number(value)} {unit}"


def unit_of(channel: str) -> str:
    """Canonical unit of a channel; ``1`` for a column that is no channel of ours."""
    known = CHANNELS.get(channel)
    return known.unit if known is not None else "1"


def spoken(channel: str) -> str:
    """The channel's name as said aloud: ``manifold pressure``."""
    return channel.replace("_", " ")


def state_word(channel: str, value: float) -> str:
    """The state that a number of a discrete channel stands for, or the number itself."""
    states = CHANNELS[channel].states
    index = round(value) if math.isfinite(value) else -1
    if 0 <= index < len(states) and index == value:
        return states[index]
    return number(value)
