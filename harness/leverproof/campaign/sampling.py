"""Draws of coefficients: a number depends on the seed, the coefficient's name and the number of the sample only, so
that blocks, shards and the order of flying make no difference, and two models with a coefficient of one name get the
same place in their distributions."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from statistics import NormalDist

from leverproof.campaign.model import NOMINAL, Coefficient

_BITS = 53


def drawn(coefficients: Sequence[Coefficient], seed: int, sample: int) -> dict[str, float]:
    """The coefficients of one sample by name; none in the nominal one, which leaves the model as it is."""
    if sample == NOMINAL:
        return {}
    return {one.name: quantile(one, place(seed, one.name, sample)) for one in coefficients}


def place(seed: int, name: str, sample: int) -> float:
    """A number between 0 and 1, both left out, from the first 53 bits of a SHA-256; independent for each name and
    sample as far as that function goes."""
    text = f"{seed}\0{sample}\0{name}".encode("utf-8", "surrogatepass")
    bits = int.from_bytes(hashlib.sha256(text).digest()[:8]) >> (64 - _BITS)
    return (bits + 0.5) / 2.0**_BITS


def quantile(coefficient: Coefficient, share: float) -> float:
    """The value below which ``share`` of the distribution lies, by the inverse of its distribution function; a normal
    one is cut at its bounds, and what is left counts as the whole."""
    low, high = coefficient.low, coefficient.high
    if coefficient.distribution == "normal" and coefficient.centre is not None and coefficient.deviation is not None:
        normal = NormalDist(coefficient.centre, coefficient.deviation)
        below, above = normal.cdf(low), normal.cdf(high)
        value = normal.inv_cdf(min(max(below + share * (above - below), 1e-300), 1.0 - 2.0**-53))
    elif coefficient.distribution == "triangular" and coefficient.centre is not None:
        centre, width = coefficient.centre, high - low
        if share * width < centre - low:
            value = low + math.sqrt(share * width * (centre - low))
        else:
            value = high - math.sqrt((1.0 - share) * width * (high - centre))
    else:
        value = low + share * (high - low)
    return min(max(value, low), high)
