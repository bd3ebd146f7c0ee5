"""A recorded lamp that is lit or dark in every row."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from leverproof.errors import InputError
from leverproof.stand.lamp import BLINKING, LIGHT, OFF, ON
from leverproof.stand.recording import Recording

HEAD = "t,thr,mix,alt,dT,tas,map,lamp"
MORE = f"[channels.{LIGHT}]\nname = 'lamp'\nlit_now = true\n"
Opened = Callable[..., Recording]


def flown(step: float, words: tuple[str, str] = ("0", "1")) -> list[str]:
    """Dark for 10 s, blinking at 1 Hz for 10 s, lit for 10 s."""
    rows = []
    for i in range(round(30.0 / step)):
        at = i * step
        lit = at >= 20.0 or (at >= 10.0 and (at % 1.0) < 0.5 - 1e-9)
        rows.append(f"{at:.9g},50,2,1000,0,200,100,{words[int(lit)]}")
    return rows


@pytest.mark.parametrize(
    ("words", "states"),
    [(("0", "1"), ""), (("off", "on"), ""), (("dark", "lit"), "states = { dark = 'off', lit = 'on' }\n")],
)
def test_the_light_as_the_pilot_saw_it(opened: Opened, words: tuple[str, str], states: str) -> None:
    log = opened(flown(0.05, words), head=HEAD, more=MORE + states)
    (stretch,) = log.stretches
    light = stretch.data[:, log.columns.index(LIGHT)]
    assert (light[:200] == OFF).all()
    assert (light[212:400] == BLINKING).all()
    assert (light[420:] == ON).all()


def test_rows_too_far_apart_are_refused(opened: Opened) -> None:
    with pytest.raises(InputError, match=r"every 0\.25 s may have blinked unseen"):
        opened(flown(0.25), head=HEAD, more=MORE)


def test_a_lamp_is_not_told_as_blinking(opened: Opened) -> None:
    with pytest.raises(InputError, match="not told as blinking"):
        opened(flown(0.05), head=HEAD, more=MORE + "states = { '0' = 'off', '1' = 'blinking' }\n")
