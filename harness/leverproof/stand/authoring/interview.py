"""Putting the questions: an answer comes from an option, else from whoever is asked, else it is the default."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from leverproof.errors import InputError, LeverproofError, UsageError
from leverproof.stand.authoring.questions import QUESTIONS, Question, check_options

Given = Mapping[str, "str | list[str]"]


class Asked(Protocol):
    """Who answers. ``patient``: a person who can be asked again after a wrong answer."""

    patient: bool

    def ask(self, words: str, prompt: str) -> str | None:
        """One line of an answer without its line end, None when no more will come. ``words`` explain, ``prompt`` is
        what stands before the answer."""
        ...

    def tell(self, words: str) -> None:
        """Says something that is no question."""
        ...


def interview(
    given: Given,
    asked: Asked,
    *,
    known: Mapping[str, Any] | None = None,
    defaults: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """The answer to every question that concerns the kind of stand, by key.

    ``given`` are texts from options, ``known`` answers that are not asked for, ``defaults`` replace those of the
    questions. Raises :class:`UsageError` naming the
    option for an answer that cannot be used, and for one that nobody gives and that has no default.
    """
    answers: dict[str, Any] = dict(known or {})
    if known:
        check_options(given, answers["kind"], fixed=frozenset(answers))
    for question in QUESTIONS:
        if question.key in answers or (question.kinds and answers["kind"] not in question.kinds):
            continue
        if question.key in given:
            answers[question.key] = _given(question, given[question.key], answers)
        elif question.many:
            answers[question.key] = _several(question, answers, asked)
        else:
            default = (defaults or {}).get(question.key) or question.default(answers)
            answers[question.key] = _one(question, answers, asked, default)
        if question.key == "kind":
            check_options(given, answers["kind"])
    return answers


def _given(question: Question, text: str | list[str], answers: Mapping[str, Any]) -> Any:
    lines = [text] if isinstance(text, str) else text
    try:
        found = [question.read(line.strip(), answers) for line in lines]
    except InputError as error:
        raise _usage(question, error) from None
    return _once(question, found) if question.many else found[-1]


def _once(question: Question, found: list[Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, entry in found:
        if name in out:
            raise UsageError(f"{name} is there twice", question.option, "name each channel once", "repeated")
        out[name] = entry
    return out


def _one(question: Question, answers: Mapping[str, Any], asked: Asked, default: str | None) -> Any:
    head = f"{question.words}{_listed(question)}\n"
    while True:
        line = asked.ask(head, f"{question.key}{'' if default is None else f' [{default}]'}: ")
        text = (line or "").strip() or default
        if text is None:
            raise UsageError("this was not answered", question.option, "give the option", "unanswered")
        try:
            return question.read(text, answers)
        except InputError as error:
            _complain(question, error, asked, line)
            head = ""


def _several(question: Question, answers: Mapping[str, Any], asked: Asked) -> dict[str, Any]:
    found: dict[str, Any] = {}
    head = f"{question.words}; an empty line when there are no more\n"
    while line := (asked.ask(head, f"{question.key}: ") or "").strip():
        head = ""
        try:
            found = _once(question, [*found.items(), question.read(line, answers)])
        except LeverproofError as error:
            _complain(question, error, asked, line)
    return found


def _listed(question: Question) -> str:
    if not question.choices:
        return ""
    reach = max(map(len, question.choices))
    if not any(question.choices.values()):
        return f": {', '.join(question.choices)}"
    return "".join(f"\n  {name:{reach}}  {does}".rstrip() for name, does in question.choices.items())


def _complain(question: Question, error: LeverproofError, asked: Asked, line: str | None) -> None:
    """Tells a person what was wrong; anybody else cannot be asked again."""
    if not asked.patient or line is None:
        raise _usage(question, error)
    asked.tell(f"  {error.message}{f' ({error.hint})' if error.hint else ''}\n")


def _usage(question: Question, error: LeverproofError) -> UsageError:
    return UsageError(error.message, question.option, error.hint, error.code)
