"""How numbers and texts are put for people: the same in every report."""

from __future__ import annotations

import textwrap
import unicodedata

from leverproof.judge import words
from leverproof.quantities import Quantity
from leverproof.timegrid import TICKS_PER_SECOND


def visible(text: str) -> str:
    """``text`` with characters that a terminal or an XML parser would act on made visible, such as ``\\x1b``.

    Line ends and tabs become blanks: no report lets a model lay out its page."""
    if text.isprintable():
        return text
    return "".join(_visible(c) for c in text)


def _visible(character: str) -> str:
    if character in "\n\r\t":
        return " "
    if character.isprintable() or unicodedata.category(character) == "Zs":
        return character
    point = ord(character)
    return f"\\x{point:02x}" if point < 0x100 else f"\\u{point:04x}" if point < 0x10000 else f"\\U{point:08x}"


def amount(value: float | None, unit: str) -> str:
    """A number with its unit; ``-`` for None."""
    return "-" if value is None else visible(words.amount(value, unit or "1"))


def doubt_words(value: float | None, unit: str) -> str:
    """A doubt with its unit, to two figures: more would claim to know it better than anybody does (JCGM 100:2008,
    7.2.6); ``-`` for None."""
    return "-" if value is None else amount(float(f"{value:.2g}"), unit)


def quantity(value: Quantity) -> str:
    """A quantity as it was written, thousands set off by commas."""
    return amount(value.value, value.unit)


def duration(ticks: int) -> str:
    """A duration in seconds from ticks of 1/36,000 s."""
    return f"{words.number(ticks / TICKS_PER_SECOND)} s"


def channel_words(name: str) -> str:
    """The name of a channel, lever or state as people say it."""
    return visible(name).replace("_", " ")


def datum_words(path: str) -> str:
    """A datum of the engine sheet as people say it: ``takeoff.manifold_pressure`` is take-off manifold pressure."""
    if path in _DATA:
        return _DATA[path]
    if path.startswith("limits."):
        return f"limit of {channel_words(path.removeprefix('limits.'))}"
    return channel_words(path.removeprefix("hardware.").replace("takeoff", "take-off").replace(".", "_"))


_DATA = {
    "limits.turbo_speed_tolerance": "tolerance of a governed turbo speed",
    "light.hysteresis": "hysteresis of the overspeed light",
    "light.blinking_above": "turbo speed above which the light blinks",
    "light.off_above": "turbo speed above which the light is off",
    "light.on_above": "turbo speed above which the light is on",
    "link.above": "height above which the levers may be linked",
    "response.takeoff_time": "time from idle to take-off power",
    "split_lever.advantage": "split-lever advantage",
}


def count(n: int, word: str, plural: str = "") -> str:
    """``1 case``, ``3 cases``."""
    return f"{n:,} {word if n == 1 else plural or word + 's'}"


def fill(text: str, width: int, *, indent: str = "", hang: str | None = None) -> str:
    """``text`` wrapped to ``width``; ``hang`` begins every line after the first."""
    after = indent if hang is None else hang
    return textwrap.fill(
        visible(text),
        width,
        initial_indent=indent,
        subsequent_indent=after,
        break_long_words=False,
        break_on_hyphens=False,
    )
