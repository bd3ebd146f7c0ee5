"""Reading one answer: a number with its doubt and page, a word, a rate."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from leverproof.errors import InputError, nearest
from leverproof.quantities import Quantity, parse
from leverproof.sheet.authoring.questions import Question
from leverproof.sheet.checks.ranges import BOUNDS, USUAL
from leverproof.sheet.vocabulary import FASTEST, NUMBERS

_DOUBT = re.compile(r"\s*\+-\s*")
NO_DOUBT = "such a number decides nothing: give a better one, or an empty line"
SHAPE = "VALUE, or VALUE +- DOUBT, each with '; PAGE' behind it if you like"


@dataclass(frozen=True, slots=True)
class Answered:
    """What goes into the sheet: the value as written, its doubt or "", where it stands in the source or "", and
    a ``source`` of its own where it is not the handbook's."""

    value: str
    doubt: str = ""
    page: str = ""
    source: str = ""


def read_number(key: str, text: str) -> Answered:
    """A number of the sheet from ``SHAPE``. Raises :class:`InputError` for a wrong unit or dimension."""
    section, _, name = key.partition(".")
    symbol = NUMBERS[section][name]
    body, _, page = (part.strip() for part in text.partition(";"))
    value, *spread = _DOUBT.split(body, maxsplit=1)
    number = _with_unit(value, symbol).to(symbol)
    if symbol not in ("degC", "ft") and not number > 0.0:
        raise InputError(f"{value!r} is not above zero", hint="answer with a number above zero", code="range")
    low, high, law = BOUNDS.get(key, (-math.inf, math.inf, ""))
    if not low <= number <= high:
        raise InputError(f"{key} cannot be {value}", "", law, "range")
    if spread:
        doubt = _with_unit(spread[0], symbol).difference_in(symbol)
        if not doubt >= 0.0:
            raise InputError(
                "a doubt cannot be negative", hint="answer with a number above zero, or leave it out", code="range"
            )
        if symbol not in ("degC", "ft") and doubt >= number:
            raise InputError(f"a doubt of {spread[0]} is as large as the value of {value}", "", NO_DOUBT, "range")
    if not page.isprintable():
        raise InputError("there is a character in it that cannot be printed", hint="type it again", code="text")
    return Answered(value, spread[0] if spread else "", page)


def unusual(key: str, answer: Answered) -> str:
    """What a number usually lies between, in words, where this answer does not; else ""."""
    section, _, name = key.partition(".")
    usual = USUAL.get(key)
    if usual is None:
        return ""
    symbol = NUMBERS[section][name]
    if usual[0] <= parse(answer.value).to(symbol) <= usual[1]:
        return ""
    return f"unusual: {usual[0]:g} to {usual[1]:g} {symbol if symbol != '1' else ''}".rstrip() + "; is the unit right?"


def _with_unit(text: str, symbol: str) -> Quantity:
    """A quantity; a number without its unit is asked for with it, rather than called a ratio."""
    found = parse(text)
    if found.unit == "1" and symbol != "1" and "%" not in text:
        raise InputError(f"{text!r} has no unit", "", f"write for example '{text.strip()} {symbol}'", "dimension")
    return found


def read_word(question: Question, text: str) -> Answered:
    """One of the question's words as anybody types it, ``Two stage`` for ``two_stage``, with a page if you like."""
    said, _, page = (part.strip() for part in text.partition(";"))
    word = re.sub(r"[\s-]+", "_", said.casefold())
    known = question.choices or {}
    if word not in known:
        raise InputError(f"{said!r} is none of them", "", nearest(word, known), "choice")
    return Answered(word, page=page)


def read_rate(text: str) -> Answered | None:
    """A lever's travel per second; None for ``no``."""
    if text.casefold() in ("no", "none"):
        return None
    if not 0.0 < parse(text).to("1/s") <= FASTEST:
        raise InputError(f"a lever rate lies above 0 and at most {FASTEST:g} 1/s", "", "for example 0.1 1/s", "range")
    return Answered(text)


def read_text(text: str) -> Answered:
    """A line of words."""
    if not text.isprintable():
        raise InputError("there is a character in it that cannot be printed", hint="type it again", code="text")
    return Answered(text)


def read(question: Question, text: str) -> Answered | None:
    """The answer to a question; None where it says that there is no such thing."""
    if question.kind == "number":
        return read_number(question.key, text)
    if question.kind == "word":
        return read_word(question, text)
    if question.kind == "rate":
        return read_rate(text)
    if question.kind == "lever":
        return Answered("yes") if read_word(question, text).value == "yes" else None
    return read_text(text)


Answers = Mapping[str, Answered]
