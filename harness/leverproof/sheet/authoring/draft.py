"""The text of a sheet from the answers, each blank as a comment that says what it costs."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from leverproof.sheet.authoring.answers import Answered
from leverproof.sheet.authoring.interview import Interviewed
from leverproof.sheet.authoring.questions import QUESTIONS, RATE_SOURCE
from leverproof.sheet.vocabulary import NUMBERS

CAUTION = "A simulated engine; never a power setting for a real one."
_ASKED = {question.key: question for question in QUESTIONS}


def sheet_text(found: Interviewed, *, sheet_id: str) -> str:
    """The sheet called ``sheet_id``; ends in a line feed and passes the loader."""
    answers = found.answers
    source = answers["source"].value
    parts = [
        "# An engine sheet. Every key: docs/reference/sheets.md. Tried with `leverproof sheet check`.\n"
        "# A datum without a doubt counts as not determined: judgements on it pass conditionally at best.\n"
        "# A datum taken from the model under test gets from_model = true.\n"
        f'format = 1\nid = {_text(sheet_id)}\ntitle = {_text(answers["title"].value)}\nrevision = "1"\n'
        f"caution = {_text(CAUTION)}\n",
        _table("hardware", ((key, answers[key]) for key in answers if key.startswith("hardware.")), source),
    ]
    parts += [_lever(key, answers[key]) for key in answers if key.startswith("levers.")]
    parts += [
        f"# {key}: not listed. Without it {loss.words()}.\n"
        for key, loss in found.losses.items()
        if key.startswith("levers.")
    ]
    for section in NUMBERS:
        keys = [f"{section}.{name}" for name in NUMBERS[section]]
        parts += _section(section, keys, found, source)
    return "\n".join(part for part in parts if part)


def slug(title: str) -> str:
    """An id made of a title: lower-case words joined by hyphens."""
    return "-".join(re.findall(r"[a-z0-9]+", title.casefold())) or "my-engine"


def _section(section: str, keys: list[str], found: Interviewed, source: str) -> list[str]:
    given = [key for key in keys if key in found.answers]
    blank = [key for key in keys if key in found.losses]
    lines = [f"# {key.partition('.')[2]}: not given. Without it {found.losses[key].words()}.\n" for key in blank]
    if given:
        return [_table(section, ((key, found.answers[key]) for key in given), source) + "".join(lines)]
    if not lines:
        return []
    return [f"# [{section}]\n" + "".join(lines)]


def _table(name: str, entries: Iterable[tuple[str, Answered]], source: str) -> str:
    lines = [f"[{name}]\n"]
    for key, answer in entries:
        question = _ASKED.get(key)
        if question is not None and question.kind == "number":
            lines.append(f"# {question.words}\n")
        told = answer.source or (f"{source}, {answer.page}" if answer.page else source)
        doubt = f", doubt = {_text(answer.doubt)}" if answer.doubt else ""
        lines.append(f"{key.partition('.')[2]} = {{ value = {_text(answer.value)}, source = {_text(told)}{doubt} }}\n")
    return "".join(lines)


def _lever(key: str, answer: Answered) -> str:
    if answer.value == "yes":
        return f"[{key}]\n"
    return f"[{key}]\nrate = {{ value = {_text(answer.value)}, source = {_text(RATE_SOURCE)} }}\n"


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
