"""What is asked for a sheet, as data: in the order asked, in the words of a handbook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from leverproof.channels import CHANNELS
from leverproof.sheet.vocabulary import HARDWARE, NUMBERS

Kind = Literal["text", "word", "number", "rate", "lever"]


@dataclass(frozen=True, slots=True)
class Question:
    """One question. ``key`` is the datum's path (or ``title``, ``id``, ``source``); ``default`` is what an empty answer
    stands for, None where an empty answer leaves the datum out, or is refused where it is needed."""

    key: str
    words: str
    kind: Kind
    default: str | None = None
    choices: Mapping[str, str] | None = None


_WORDS: dict[str, tuple[str, dict[str, str], str | None]] = {
    "arrangement": (
        "How air is brought to the cylinders",
        {
            "unsupercharged": "no supercharger of any kind",
            "geared_one_speed": "a gear-driven stage",
            "geared_two_speed": "a gear-driven stage with two speeds",
            "turbo_normalised": "an exhaust-driven turbo alone",
            "two_stage": "an exhaust-driven turbo ahead of a gear-driven stage",
        },
        None,
    ),
    "boost_acts_on": (
        "What the boost lever acts on",
        {
            "none": "there is no separate boost lever",
            "gate": "the waste gate itself",
            "speed": "it demands a turbo speed",
            "deck": "it demands a carburettor deck pressure",
        },
        None,
    ),
    "overspeed_protection": (
        "What protects the turbo from overspeed",
        {
            "none": "nothing but the pilot",
            "governor": "a governor",
        },
        None,
    ),
    "takeoff_boost": (
        "Where the boost lever is at take-off",
        {
            "none": "there is no such lever",
            "back": "fully back",
            "set": "set by the pilot",
            "automatic": "set by itself",
        },
        None,
    ),
    "link": (
        "How throttle and boost lever may be linked",
        {
            "none": "not at all",
            "procedure": "moved together by hand",
            "mechanical": "by a catch or rod",
            "interlock": "by one that refuses below its height",
        },
        "none",
    ),
    "coordination": (
        "Whether throttle and boost are coordinated automatically",
        {"none": "no", "automatic": "yes"},
        "none",
    ),
    "light": (
        "The turbo overspeed light",
        {
            "none": "none",
            "three_state": "on, blinking or off by turbo speed",
            "plain": "on or off",
        },
        None,
    ),
    "intercooler": (
        "The intercooler",
        {"none": "none", "shutter": "with a shutter", "fixed": "without"},
        "none",
    ),
    "full_rich": (
        "Whether full rich is corrected for height",
        {
            "compensated": "the carburettor holds the mixture",
            "not_compensated": "it grows richer with height",
        },
        None,
    ),
    "propeller": ("The propeller", {"constant_speed": "with a governor"}, "constant_speed"),
    "service": (
        "What kind of engine it is",
        {
            "light": "of a light single or twin",
            "heavy": "of a large aeroplane",
        },
        None,
    ),
}
assert {key: set(choices) for key, (_, choices, _) in _WORDS.items()} == {k: set(v) for k, v in HARDWARE.items()}

_RATED = {
    "manifold_pressure": "manifold pressure, absolute, such as '45 inHg'",
    "engine_speed": "engine rpm, such as '2550 rpm'",
    "brake_power": "power, such as '1200 hp'",
    "fuel_flow": "fuel flow by weight, such as '900 lb/h'",
    "minutes": "time limit, such as '5 min'",
}
_RATINGS = {
    "takeoff": ("Take-off", ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow", "minutes")),
    "maximum_continuous": (
        "Maximum continuous",
        ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow"),
    ),
    "climb": ("Climb", ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow")),
    "cruise": ("Cruise", ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow")),
}
_NUMBERS: dict[str, str] = {
    **{f"{rating}.{key}": f"{words} {_RATED[key]}" for rating, (words, keys) in _RATINGS.items() for key in keys},
    "climb.full_throttle_height": "Full-throttle height: full throttle just gives climb pressure, such as '12000 ft'",
    "idle.engine_speed": "Idling rpm at sea level, throttle closed, propeller full forward",
    "limits.turbo_speed": "Turbo speed limit, such as '22000 rpm'",
    "limits.turbo_speed_tolerance": "How closely the governor holds it, such as '2 %'",
    "limits.carburettor_air_temperature": "Carburettor air temperature limit, such as '45 degC'",
    "light.blinking_above": "Turbo speed above which the overspeed light blinks",
    "light.off_above": "Turbo speed above which it goes out",
    "light.on_above": "Turbo speed above which it is on as a warning",
    "light.hysteresis": "How far below each of these it changes back",
    "link.above": "Height above which throttle and boost may be linked, such as '7000 ft'",
    "response.takeoff_time": "Longest time from idle to 90 % of take-off power at sea level, such as '4 s'",
    "split_lever.advantage": "Power gained at 15,000 ft by opening the throttle before the boost, such as '100 hp'",
    "geometry.displacement": "Displacement, such as '1820 in3'",
    "geometry.compression_ratio": "Compression ratio, such as 6.7",
    "geared_stage.ratio": "Ratio of the supercharger drive, or of its low gear, such as 7.15",
    "geared_stage.ratio_high": "Ratio of its high gear",
    "propeller.diameter": "Propeller diameter, such as '138 in'",
    "propeller.reduction": "Propeller turns per engine turn, such as 0.5625",
}
_RATES = {
    "throttle": "0.1 1/s",
    "boost": "0.05 1/s",
    "propeller": "0.1 1/s",
    "intercooler_shutter": "0.2 1/s",
    "cowl_flaps": "0.2 1/s",
}
RATE_SOURCE = "assumption: how fast a careful hand moves it when it seeks a value"
_ALWAYS = ("throttle", "propeller", "mixture")
"""Levers that nearly every engine has: listed unless the answer is no."""


def _levers() -> list[Question]:
    out = []
    for name in (c.name for c in CHANNELS.values() if c.kind == "lever"):
        key = f"levers.{name}"
        if CHANNELS[name].states:
            out.append(
                Question(
                    key,
                    f"Whether there is a {name.replace('_', ' ')} control",
                    "lever",
                    "yes" if name in _ALWAYS else "no",
                    {"yes": "", "no": ""},
                )
            )
        else:
            out.append(
                Question(
                    key,
                    f"How fast the {name.replace('_', ' ')} lever is moved, as travel per second; no for none",
                    "rate",
                    _RATES[name] if name in (*_ALWAYS, "boost", "intercooler_shutter") else "no",
                )
            )
    return out


QUESTIONS: tuple[Question, ...] = (
    Question("title", "Which engine this is, in a few words", "text"),
    Question("source", "Where the numbers come from: the handbook by title and edition", "text"),
    *(
        Question(f"hardware.{key}", words, "word", default, choices)
        for key, (words, choices, default) in _WORDS.items()
    ),
    *_levers(),
    *(Question(path, words, "number") for path, words in _NUMBERS.items()),
)
ALL_NUMBERS = tuple(f"{section}.{key}" for section, keys in NUMBERS.items() for key in keys)
"""Every number a sheet may give; those that no question asks for can still be answered by name."""
