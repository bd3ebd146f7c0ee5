"""Reading one answer: a number with its doubt and page, a word, a rate."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from leverproof.errors import InputError, nearest
from leverproof.quantities import parse
from leverproof.sheet.authoring.questions import Question
from leverproof.sheet.vocabulary import FASTEST, NUMBERS

_DOUBT = re.compile(r"\s*\+-\s*")
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
    number = parse(value).to(symbol)
    if symbol not in ("degC", "ft") and not number > 0.0:
        raise InputError(f"{value!r} is not above zero", code="range")
    if spread and not parse(spread[0]).difference_in(symbol) >= 0.0:
        raise InputError("a doubt cannot be negative", code="range")
    if not page.isprintable():
        raise InputError("there is a character in it that cannot be printed", code="text")
    return Answered(value, spread[0] if spread else "", page)


def read_word(question: Question, text: str) -> Answered:
    """One of the question's words, with a page if you like."""
    word, _, page = (part.strip() for part in text.partition(";"))
    known = question.choices or {}
    if word not in known:
        raise InputError(f"{word!r} is none of them", "", nearest(word, known), "choice")
    return Answered(word, page=page)


def read_rate(text: str) -> Answered | None:
    """A lever's travel per second; None for ``no``."""
    if text == "no":
        return None
    if not 0.0 < parse(text).to("1/s") <= FASTEST:
        raise InputError(
            f"a lever rate lies above 0 and at most {FASTEST:g} 1/s", "", "for example 0.1 1/s", "range"
        )
    return Answered(text)


def read_text(text: str) -> Answered:
    """A line of words."""
    if not text.isprintable():
        raise InputError("there is a character in it that cannot be printed", code="text")
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
