"""The items in the order tried, from basic to fine, each with the items it stands on."""

from __future__ import annotations

from leverproof.stand.shakedown import items_basic, items_input, items_levers, items_sameness, items_time
from leverproof.stand.shakedown.model import Item

ITEMS: tuple[Item, ...] = (
    Item("handshake", "Does the model come up and name what we know?", items_basic.handshake, (), stepped=False),
    Item("states", "Are discrete states answered by name?", items_basic.states, stepped=False),
    Item("units", "Do start values fit their units?", items_basic.units, stepped=False),
    Item("levers", "Do levers move their readings the right way?", items_levers.levers),
    Item("surroundings", "Do surroundings reach the model during a run?", items_levers.surroundings),
    Item(
        "repeat",
        "Is the same run twice the same?",
        items_sameness.repeat,
        deterministic=True,
    ),
    Item(
        "reopened",
        "Is the same run in another process the same?",
        items_sameness.reopened,
        ("repeat",),
        deterministic=True,
    ),
    Item(
        "initialised-again",
        "Is a model initialised again as fresh?",
        items_sameness.again,
        ("repeat",),
        deterministic=True,
    ),
    Item(
        "reset",
        "Is a model that was reset as fresh?",
        items_sameness.reset,
        ("initialised-again",),
        deterministic=True,
    ),
    Item(
        "single-steps",
        "Is a batch of n rows n single rows?",
        items_sameness.singles,
        ("repeat",),
        deterministic=True,
    ),
    Item(
        "random-batches",
        "Is a run cut at random places the same run?",
        items_sameness.cuts,
        ("single-steps",),
        deterministic=True,
    ),
    Item(
        "column-order",
        "Are columns in any order the same numbers?",
        items_sameness.columns,
        ("repeat",),
        deterministic=True,
    ),
    Item(
        "lanes",
        "Is a lane the same whatever its neighbours?",
        items_sameness.lanes,
        ("repeat",),
        deterministic=True,
    ),
    Item(
        "some-lanes",
        "Do lanes that are not named stand still?",
        items_sameness.some_lanes,
        ("lanes", "random-batches"),
        deterministic=True,
    ),
    Item("nan", "Is NaN refused or passed through?", items_input.nan, ("repeat", "levers", "surroundings")),
    Item("refusal", "Are bad requests refused, without harm?", items_input.refusal, ("repeat",)),
    Item("timing", "Does a row take its time within the deadline?", items_time.timing),
    Item("jitter", "Does every single step?", items_time.jitter, ("timing",)),
    Item("clock", "Does model time go on, and as fast as asked?", items_time.clock, ("levers",)),
    Item(
        "grid-step",
        "Are settled values free of the grid step?",
        items_time.grid_step,
        ("clock", "repeat"),
        deterministic=True,
    ),
    Item("clean-end", "Does the model end when it is told to?", items_input.clean_end, stepped=False),
)

BY_NAME = {item.name: item for item in ITEMS}
