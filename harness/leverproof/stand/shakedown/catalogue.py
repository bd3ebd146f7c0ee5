"""The items in the order tried, from basic to fine, each with the items it stands on."""

from __future__ import annotations

from leverproof.stand.shakedown import (
    items_basic,
    items_clock,
    items_input,
    items_levers,
    items_sameness,
    items_time,
)
from leverproof.stand.shakedown.model import Item

_FIRST = ("handshake",)

ITEMS: tuple[Item, ...] = (
    Item("handshake", "Does the model come up and name what we know?", items_basic.handshake, (), clock="any"),
    Item("states", "Are discrete states answered by name?", items_basic.states, clock="any"),
    Item("units", "Do start values fit their units?", items_basic.units, clock="any"),
    Item("levers", "Do levers move their readings the right way?", items_levers.levers, (*_FIRST, "tell"), clock="any"),
    Item(
        "surroundings",
        "Do surroundings reach the model during a run?",
        items_levers.surroundings,
        (*_FIRST, "tell"),
        clock="any",
    ),
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
        "paused",
        "Does the model wait while nothing is asked?",
        items_sameness.paused,
        ("random-batches",),
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
    Item("clean-end", "Does the model end when it is told to?", items_input.clean_end, clock="any"),
)

OWN_CLOCK_ITEMS: tuple[Item, ...] = (
    Item(
        "own-clock",
        "Does the model's own clock go on, at its declared rate?",
        items_clock.own_clock,
        clock="free_running",
    ),
    Item(
        "stamps",
        "Do stamps go forward, with one state each?",
        items_clock.stamps,
        (*_FIRST, "own-clock"),
        clock="free_running",
    ),
    Item(
        "reply-time",
        "Are polls and tells answered within the deadline?",
        items_clock.reply_time,
        (*_FIRST, "own-clock"),
        clock="free_running",
    ),
    Item(
        "poll-jitter",
        "How sure is an instant on the model's clock?",
        items_clock.poll_jitter,
        ("own-clock", "stamps", "reply-time"),
        clock="free_running",
    ),
    Item(
        "tell",
        "Does a lever take effect when it is told?",
        items_clock.tell,
        ("own-clock", "stamps", "reply-time", "poll-jitter"),
        clock="free_running",
    ),
)
"""Asked of a model that runs on its own clock, before its levers."""

BY_NAME = {item.name: item for item in (*ITEMS, *OWN_CLOCK_ITEMS)}


def items_for(clock: str) -> tuple[Item, ...]:
    """The items listed for a model of that clock, in the order tried."""
    if clock == "stepped":
        return ITEMS
    first = next(index for index, item in enumerate(ITEMS) if item.name == "levers")
    return (*ITEMS[:first], *OWN_CLOCK_ITEMS, *ITEMS[first:])
