"""Putting the questions for a sheet; after each blank, what is lost by it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from leverproof.errors import InputError, UsageError, nearest
from leverproof.sheet.authoring.answers import SHAPE, Answered, read, read_number, unusual
from leverproof.sheet.authoring.losses import Judged, Loss, loss_of, supposed
from leverproof.sheet.authoring.questions import ALL_NUMBERS, QUESTIONS, Question
from leverproof.sheet.checks.hardware import fits
from leverproof.sheet.vocabulary import NEEDED


class Asked(Protocol):
    """Who answers. ``patient``: a person who can be asked again after a wrong answer."""

    patient: bool

    def ask(self, words: str, prompt: str) -> str | None:
        """One line of an answer, None when no more will come."""
        ...

    def tell(self, words: str) -> None:
        """Says something that is no question."""
        ...


@dataclass(slots=True)
class Interviewed:
    """The answers by key, what each blank costs, and every question that was put."""

    answers: dict[str, Answered] = field(default_factory=dict)
    losses: dict[str, Loss] = field(default_factory=dict)
    put: set[str] = field(default_factory=set)


def interview(
    given: Mapping[str, str], asked: Asked, judged: Judged, *, before: Interviewed | None = None
) -> Interviewed:
    """Every question that concerns the engine, in order; ``given`` are answers by key, from options. What was put
    ``before`` keeps its answer and is not put again.

    Raises :class:`UsageError` naming the key of an answer that cannot be used, that is needed and missing, or that is
    to no question."""
    _known(given)
    out = Interviewed()
    kept = before or Interviewed()
    for place, question in enumerate(QUESTIONS):
        if not _concerns(question, out.answers):
            if question.key in given:
                raise _wrong(question.key, "this engine has no such thing", "leave it out")
            continue
        out.put.add(question.key)
        if question.key in kept.put:
            _keep(question.key, kept, out)
            continue
        answer = _answer(question, given, asked, out.answers)
        if answer is not None:
            out.answers[question.key] = answer
            if question.kind == "number" and (words := unusual(question.key, answer)):
                asked.tell(f"  {words}\n")
        elif question.kind == "number" or question.key.startswith("levers."):
            still = [later.key for later in QUESTIONS[place:]]
            loss = loss_of(question.key, supposed(out.answers, still), judged)
            if question.kind == "number" or loss.cases or loss.judgements:
                out.losses[question.key] = loss
                asked.tell(f"  without {question.key}: {loss.words()}\n")
    for key in (key for key in given if key not in {q.key for q in QUESTIONS}):
        out.answers[key] = _given_number(key, given[key], out.answers)
    return out


def without(found: Interviewed, path: str) -> Interviewed:
    """What was asked, but for the questions that ``path`` of a sheet is about: a section, a datum, or a part of one."""
    about = {q.key for q in QUESTIONS if q.key.startswith(f"{path}.") or path == q.key or path.startswith(f"{q.key}.")}
    if path == "hardware.boost_acts_on":
        about.add("levers.boost")
    return Interviewed(found.answers, found.losses, found.put - about)


def _keep(key: str, kept: Interviewed, out: Interviewed) -> None:
    if key in kept.answers:
        out.answers[key] = kept.answers[key]
    elif key in kept.losses:
        out.losses[key] = kept.losses[key]


def _known(given: Mapping[str, str]) -> None:
    keys = {q.key for q in QUESTIONS} | set(ALL_NUMBERS)
    for key in given:
        if key not in keys:
            raise UsageError(f"nothing is called {key!r}", "--answer", nearest(key, keys), "answer")


def _given_number(key: str, text: str, answers: Mapping[str, Answered]) -> Answered:
    if not fits(key, supposed(answers, ())):
        raise _wrong(key, "this engine has no such thing", "leave it out")
    try:
        return read_number(key, text)
    except InputError as error:
        raise _wrong(key, error.message, error.hint) from None


def _concerns(question: Question, answers: Mapping[str, Answered]) -> bool:
    """Whether the hardware answered so far can have it; a word with one possible answer is not asked."""
    if question.kind in ("text", "word"):
        return True
    return fits(question.key, supposed(answers, ()))


def _settled(question: Question, answers: Mapping[str, Answered]) -> str | None:
    """The only word that fits what was answered before, where there is only one."""
    arrangement = answers["hardware.arrangement"].value if "hardware.arrangement" in answers else ""
    name = question.key.removeprefix("hardware.")
    turbo = arrangement in ("turbo_normalised", "two_stage")
    if not turbo and name in (
        "boost_acts_on",
        "overspeed_protection",
        "takeoff_boost",
        "link",
        "coordination",
        "light",
    ):
        return "none"
    boost = answers.get("hardware.boost_acts_on")
    if boost is not None and boost.value == "none" and name in ("link", "coordination"):
        return "none"
    return "constant_speed" if name == "propeller" else None


def _answer(
    question: Question, given: Mapping[str, str], asked: Asked, answers: Mapping[str, Answered]
) -> Answered | None:
    settled = (
        _settled(question, answers) if question.kind == "word" and question.key != "hardware.arrangement" else None
    )
    if question.key in given:
        found = _read_given(question, given[question.key], answers)
        if settled is not None and found is not None and found.value != settled:
            raise _wrong(
                question.key,
                f"{found.value} contradicts {_arrangement(answers)}",
                f"it can only be {settled}",
            )
        return found
    if settled is not None:
        return Answered(settled, source=f"follows from {_arrangement(answers)}")
    needed = _needed(question, answers)
    head = _head(question, needed=needed)
    prompt = f"{question.key}{'' if question.default is None else f' [{question.default}]'}: "
    while True:
        line = asked.ask(head, prompt)
        head = ""
        text = (line or "").strip() or question.default or ""
        if not text and not needed:
            return None
        try:
            if not text:
                raise InputError("this is needed", "", "give it, or --answer", "unanswered")
            found = read(question, text)
        except InputError as error:
            if not asked.patient or line is None:
                raise _wrong(question.key, error.message, error.hint) from None
            asked.tell(f"  {error.message}{f' ({error.hint})' if error.hint else ''}\n")
            continue
        if question.kind == "word" and not (line or "").strip():
            return Answered(text, source=f"not answered, taken as {text}")
        return found


def _read_given(question: Question, text: str, answers: Mapping[str, Answered]) -> Answered | None:
    if not text.strip():
        if _needed(question, answers):
            raise _wrong(question.key, "this is needed", "")
        return None
    try:
        return read(question, text.strip())
    except InputError as error:
        raise _wrong(question.key, error.message, error.hint) from None


def _needed(question: Question, answers: Mapping[str, Answered]) -> bool:
    if question.kind in ("text", "word"):
        return True
    return question.key in NEEDED[answers["hardware.arrangement"].value]


def _arrangement(answers: Mapping[str, Answered]) -> str:
    return f"hardware.arrangement = {answers['hardware.arrangement'].value}"


def _head(question: Question, *, needed: bool) -> str:
    words = question.words
    if question.kind == "word" and question.choices:
        reach = max(map(len, question.choices))
        words += "".join(f"\n  {name:{reach}}  {does}" for name, does in question.choices.items())
    elif question.kind == "number":
        words += f" ({SHAPE}{'' if needed else '; an empty line if it is not known'})"
    return words + "\n"


def _wrong(key: str, message: str, hint: str) -> UsageError:
    return UsageError(message, f"--answer {key}=", hint, "answer")
