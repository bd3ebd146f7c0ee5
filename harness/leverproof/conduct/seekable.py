"""What a seek can be asked, and what it says in the end."""

from __future__ import annotations

from dataclasses import dataclass

from leverproof.channels import CHANNELS
from leverproof.conduct.hand import Hand, RefusedError
from leverproof.conduct.model import PlannedStep


@dataclass(frozen=True, slots=True)
class SeekEnd:
    """How a seek ended, in the words of a case, and what was seen."""

    ending: str
    note: str


def refuse_unseekable(hand: Hand, step: PlannedStep) -> None:
    """Raises :class:`RefusedError` for a seek that cannot be flown as written."""
    hand.value(step.lever)
    if CHANNELS[step.lever].states or CHANNELS[step.lever].kind != "lever":
        raise RefusedError(f"{step.lever} is not a continuous lever and cannot seek")
    if hand.lead is not None and step.lever == "boost":
        raise RefusedError("boost is coupled to throttle and cannot seek on its own")
    if step.rate <= 0.0:
        raise RefusedError(f"no rate is stated for {step.lever}: a seek needs one")
    if step.within <= 0.0 or step.limit <= 0:
        raise RefusedError(f"a seek of {step.channel} needs a positive tolerance and time limit")
