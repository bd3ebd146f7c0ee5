"""Models of several engines: which signals belong to which engine, and how one is told apart from the others.

A model has columns for each of its engines, under names of its own. In the stand file ``{engine}`` in a mapped name
stands for the engine; a channel that is not mapped is looked for under its own name with the engine behind it
(``throttle_2``), then under its plain name, which all engines share.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from leverproof.channels import LEVERS, OTHER_LEVERS, OWN, READINGS
from leverproof.errors import InputError, nearest
from leverproof.stand.mapped import Link, Links, link
from leverproof.stand.port import ChannelMap, Hello, StandFile

PLACE = "{engine}"
_TEMPLATE = f"Where the model has names of its own, write {PLACE} in those that are mapped"


def of_engine(stand: StandFile, engine: int, known: Collection[str]) -> StandFile:
    """The stand with the channel map of one engine, from 1; ``known`` are the names that the model has."""
    word = stand.engines[engine - 1]
    channels = {name: replace(entry, name=entry.name.replace(PLACE, word)) for name, entry in stand.channels.items()}
    if len(stand.engines) > 1:
        for name in OWN:
            entry, behind = channels.get(name, ChannelMap(name)), f"{name}_{word}"
            if entry.name == name and behind in known:
                channels[name] = replace(entry, name=behind)
    return replace(stand, engine=engine, channels=channels)


def names_of_others(stand: StandFile, engine: int, known: Collection[str]) -> frozenset[str]:
    """The columns of a recording, ``known``, that belong to another engine and not to this one. Raises
    :class:`InputError` where this one has no column of its own."""
    own = {entry.name for entry in of_engine(stand, engine, known).channels.values()}
    others = [k for k in range(1, len(stand.engines) + 1) if k != engine]
    theirs = {entry.name for k in others for entry in of_engine(stand, k, known).channels.values()}
    if len(stand.engines) > 1 and not (own - theirs) & set(known):
        word = stand.engines[engine - 1]
        raise InputError(
            f"{stand.target} has no engine {engine}: no column is its own, such as 'throttle_{word}'",
            f"{stand.path}: engines",
            f"{nearest(f'throttle_{word}', known)} {_TEMPLATE}",
            "no_such_engine",
        )
    return frozenset(theirs & set(known)) - own


def engine_links(stand: StandFile, hello: Hello) -> dict[int, Links]:
    """How each engine is found in the model, by its number; every one as :func:`leverproof.stand.mapped.link` finds
    it, with the levers of the others as inputs of their own.

    Raises :class:`InputError` for what :func:`link` refuses, and for an engine that has no lever or no reading which
    the other engines have not: the model has no such engine."""
    names = [signal.name for signal in (*hello.inputs, *hello.outputs)]
    found = {engine: _linked(stand, engine, hello, names) for engine in range(1, len(stand.engines) + 1)}
    if len(found) == 1:
        return found
    for engine, links in found.items():
        _own_signals(stand, engine, links, hello, found)
    used = {
        entry.signal.name
        for links in found.values()
        for side in (links.inputs, links.outputs)
        for entry in side.values()
    }
    return {engine: _with_others(engine, found, used) for engine in found}


def _linked(stand: StandFile, engine: int, hello: Hello, names: Collection[str]) -> Links:
    try:
        return link(of_engine(stand, engine, names), hello)
    except InputError as refused:
        if len(stand.engines) == 1:
            raise
        raise InputError(f"engine {engine}: {refused.message}", refused.where, refused.hint, refused.code) from None


def _own_signals(stand: StandFile, engine: int, links: Links, hello: Hello, found: Mapping[int, Links]) -> None:
    """Refuses an engine all of whose levers, or all of whose readings, are another engine's too."""
    for kind, said in (("lever", hello.inputs), ("reading", hello.outputs)):
        own = {e.signal.name for e in _side(links, kind).values()}
        others = {e.signal.name for k, other in found.items() if k != engine for e in _side(other, kind).values()}
        if own - others:
            continue
        word = stand.engines[engine - 1]
        entry = stand.channels.get("throttle" if kind == "lever" else "manifold_pressure")
        example = (
            entry.name.replace(PLACE, word) if entry else f"{LEVERS[0] if kind == 'lever' else READINGS[0]}_{word}"
        )
        raise InputError(
            f"the model has no engine {engine}: no {kind} is its own, such as {example!r}",
            f"{stand.path}: engines",
            f"{nearest(example, [s.name for s in said])} {_TEMPLATE}",
            "no_such_engine",
        )


def _side(links: Links, kind: str) -> Mapping[str, Link]:
    side = links.inputs if kind == "lever" else links.outputs
    return {name: entry for name, entry in side.items() if OWN[name].kind == kind}


def _with_others(engine: int, found: Mapping[int, Links], used: Collection[str]) -> Links:
    """One engine's links with the levers of the others beside its own; a lever that all share is nobody else's."""
    links = found[engine]
    inputs, more = dict(links.inputs), {}
    own = {entry.signal.name for entry in links.inputs.values()}
    for lever, other in OTHER_LEVERS.items():
        theirs: dict[str, Link] = {}
        for k, entries in found.items():
            entry = entries.inputs.get(lever)
            if k != engine and entry is not None and entry.signal.name not in own:
                theirs.setdefault(entry.signal.name, replace(entry, channel=other))
        if theirs:
            inputs[other], *rest = theirs.values()
            more[other] = tuple(rest)
    return Links(
        inputs,
        links.outputs,
        tuple(name for name in links.unmapped_inputs if name not in used),
        tuple(name for name in links.unmapped_outputs if name not in used),
        (*links.warnings, *_uneven(engine, found)),
        {name: entries for name, entries in more.items() if entries},
    )


def _uneven(engine: int, found: Mapping[int, Links]) -> list[str]:
    """Channels that another engine has and this one lacks: commonly a name misspelt in the model."""
    out = []
    for side in ("inputs", "outputs"):
        here: Mapping[str, Link] = getattr(found[engine], side)
        for k, links in found.items():
            theirs: Mapping[str, Link] = getattr(links, side)
            lacking = [name for name in theirs if name not in here]
            if lacking:
                out.append(f"engine {engine} has no {', '.join(lacking)}, which engine {k} has")
    return out
