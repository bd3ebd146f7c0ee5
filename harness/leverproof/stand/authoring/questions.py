"""What an author is asked, as data: the words, whom it concerns, the default and how an answer is read.

The command line is made from this, so nothing heavy is imported before an answer is read.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from leverproof.errors import InputError, UsageError, nearest
from leverproof.quantities import parse
from leverproof.sheet.vocabulary import HARDWARE

SHAPE = "OURS, or OURS = THEIRS, or OURS = THEIRS, UNIT"
"""The line of an answer about a channel."""

Answers = Mapping[str, Any]

KINDS = {
    "stdio": "a program in any language, spoken to on its standard streams",
    "tcp": "a program that listens on a port",
    "in_process": "a Python object, in the harness's own process",
    "c_library": "a shared library behind leverproof.h",
    "fmi": "an FMI 2.0 or 3.0 co-simulation unit",
    "recording": "a log of what somebody flew",
    "reference_engine": "the engine that ships with leverproof",
}


@dataclass(frozen=True, slots=True)
class Language:
    """How a program in a language is usually started, and what makes it from its text."""

    command: str
    build: str


LANGUAGES = {
    "c": Language("./my_engine", "cc -O2 -o my_engine my_engine.c -lm"),
    "javascript": Language("node my_engine.mjs", "nothing to build; needs Node as `node`"),
    "python": Language("python3 my_engine.py", "nothing to build; needs Python as `python3`"),
    "perl": Language("perl my_engine.pl", "nothing to build; needs Perl as `perl`"),
    "other": Language("./my_engine", ""),
}
_TARGETS = {
    "tcp": "127.0.0.1:0",
    "in_process": "my_engine.py:factory",
    "c_library": "libmy_engine.so",
    "fmi": "my_engine.fmu",
    "recording": "flight.csv",
    "reference_engine": "corrie-18-early",
}
COPY = "copy"
NOTHING = "-"
DEADLINES = ("start", "request", "row")


@dataclass(frozen=True, slots=True)
class Question:
    """One question. ``key`` names the answer and the option; ``kinds`` are the stands it concerns, all when empty.

    ``default`` gives what an empty answer stands for, None where there must be one. ``read`` turns a text into the
    answer or raises :class:`InputError`. Of a question with ``many`` every line of the answer is read by itself.
    ``choices`` are listed with their meaning.
    """

    key: str
    words: str
    read: Callable[[str, Answers], Any]
    default: Callable[[Answers], str | None] = lambda answers: None
    kinds: tuple[str, ...] = ()
    many: bool = False
    choices: Mapping[str, str] | None = None

    @property
    def option(self) -> str:
        """The option of the command that answers it."""
        return "--" + self.key.replace("_", "-")


def _text(text: str, _: Answers) -> str:
    if not text.isprintable():
        raise InputError("there is a character in it that cannot be printed", hint="type it again", code="text")
    return text


def _choice(known: Mapping[str, str]) -> Callable[[str, Answers], str]:
    def read(text: str, _: Answers) -> str:
        if text not in known:
            raise InputError(f"{text!r} is none of them", "", nearest(text, known), "choice")
        return text

    return read


def _kind(text: str, answers: Answers) -> str:
    from leverproof.stand.adapters import installed_kinds

    return _choice(dict.fromkeys(installed_kinds() or KINDS, ""))(text, answers)


def _words(text: str, answers: Answers) -> list[str]:
    if text == NOTHING and answers["kind"] == "tcp":
        return []
    try:
        found = shlex.split(_text(text, answers))
    except ValueError as reason:
        raise InputError(
            f"{text!r} cannot be cut into words: {reason}", hint="close every quotation mark", code="words"
        ) from None
    if not found:
        raise InputError("a program is needed", hint="name the program that is the model", code="words")
    return found


def _command(answers: Answers) -> str:
    usual = LANGUAGES[answers["language"]].command
    return f"{usual} --port {{port}}" if answers["kind"] == "tcp" else usual


def _target(answers: Answers) -> str | None:
    if answers["kind"] == "tcp" and not answers["command"]:
        return "127.0.0.1:5100"
    return _TARGETS.get(answers["kind"])


def _build(answers: Answers) -> str:
    if answers["kind"] == "c_library":
        return "cc -O2 -shared -fPIC -o libmy_engine.so my_engine.c -lm"
    return LANGUAGES[answers["language"]].build or NOTHING


def _optional(text: str, answers: Answers) -> str:
    return "" if text == NOTHING else _text(text, answers)


def _step(text: str, _: Answers) -> str:
    from leverproof.timegrid import TimeGrid

    TimeGrid.parse(text)
    return text


def _deadlines(text: str, _: Answers) -> dict[str, str]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != len(DEADLINES):
        raise InputError(f"{text!r} is not three durations", "", "write for example 30 s, 10 s, 0.02 s", "deadline")
    for part in parts:
        if not parse(part).to("s") > 0.0:
            raise InputError(f"{part!r} is not above 0", hint="answer with a time such as '30 s'", code="deadline")
    return dict(zip(DEADLINES, parts, strict=True))


def _engine(text: str, _: Answers) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 8):
        raise InputError(f"{text!r} is no engine number", "", "a whole number from 1 to 8", "engine")
    return int(text)


def _channel(kind: str) -> Callable[[str, Answers], Any]:
    def read(text: str, _: Answers) -> Any:
        from leverproof.stand.authoring.channel_lines import channel_line

        return channel_line(text, kind)

    return read


def _always(text: str) -> Callable[[Answers], str]:
    return lambda _: text


_PROGRAMS = ("stdio", "tcp")
_TIME_UNITS = {"s": "", "ms": "", "min": "", "h": "", "time_of_day": "such as 14:05:30.2"}
_ARRANGEMENTS = {
    "unsupercharged": "no supercharger of any kind",
    "geared_one_speed": "a gear-driven stage",
    "geared_two_speed": "a gear-driven stage with two speeds",
    "turbo_normalised": "an exhaust-driven turbo alone",
    "two_stage": "an exhaust-driven turbo ahead of a gear-driven stage",
}
assert _ARRANGEMENTS.keys() == set(HARDWARE["arrangement"])

QUESTIONS = (
    Question("title", "What is mounted, in a few words", _text, _always("my engine")),
    Question("kind", "How the model is reached", _kind, _always("stdio"), choices=KINDS),
    Question(
        "language", "Language of the program", _choice(dict.fromkeys(LANGUAGES, "")), _always("other"), _PROGRAMS,
        choices=dict.fromkeys(LANGUAGES, ""),
    ),
    Question(
        "command", "Program and arguments; one with a slash is beside the stand file, {port} becomes the port, and "
        "- says that a program on a port runs already", _words, _command, _PROGRAMS,
    ),
    Question(
        "target", "Where it is: host:port, a file beside the stand file, file.py:factory, or a shipped engine's id",
        _text, _target, tuple(_TARGETS),
    ),
    Question(
        "build_hint", "What builds it, for people who do not have it yet (- for nothing)", _optional, _build,
        (*_PROGRAMS, "c_library"),
    ),
    Question("time_column", "The column with the time", _text, _always("time"), ("recording",)),
    Question("time_unit", "Its unit", _choice(_TIME_UNITS), _always("s"), ("recording",), choices=_TIME_UNITS),
    Question("arrangement", "What engine it is", _choice(_ARRANGEMENTS), _always("unsupercharged"),
             choices=_ARRANGEMENTS),
    Question(
        "sheet", "Its engine sheet: copy writes a copy of the nearest shipped one for you to change; or a shipped id; "
        "or a file beside the stand file", _text,
        lambda answers: answers["target"] if answers["kind"] == "reference_engine" else COPY,
    ),
    Question("lever", f"Levers the model has: {SHAPE}", _channel("lever"), many=True),
    Question("surrounding", "Surroundings it takes, in the same way", _channel("surrounding"), many=True),
    Question("reading", "Readings it gives, in the same way", _channel("reading"), many=True),
    Question("clock", "Whose clock it runs on", _choice({"stepped": "", "free_running": ""}), _always("stepped"),
             _PROGRAMS, choices={"stepped": "it moves only when told", "free_running": "its own"}),
    Question("grid_step", "Grid step, a whole number of which make 0.5 s", _step, _always("0.05 s"),
             tuple(kind for kind in KINDS if kind != "recording")),
    Question("deadlines", "Deadlines: to say hello, for any answer, and more for each row", _deadlines,
             _always("30 s, 10 s, 0.02 s"), tuple(kind for kind in KINDS if kind != "recording")),
    Question("engine", "Which engine is tested, of a model with several; from 1", _engine, _always("1")),
)  # fmt: skip


def check_options(given: Mapping[str, object], kind: str, *, fixed: frozenset[str] = frozenset()) -> None:
    """Raises :class:`UsageError` for an option that says nothing about a stand of this kind, or that the example
    has already said (``fixed``)."""
    for question in QUESTIONS:
        if question.key not in given:
            continue
        if question.key in fixed:
            raise UsageError(
                "the example says this itself", question.option, "leave it out, or change the file", "option"
            )
        if question.kinds and kind not in question.kinds:
            raise UsageError(f"a stand of kind {kind!r} has no such thing", question.option, "leave it out", "option")
