"""Several folders of one campaign, flown in shards, put into one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leverproof.campaign import store
from leverproof.errors import InputError, UsageError

_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Merged:
    """How many items there are now, and how many the plan has in all."""

    items: int
    planned: int


def merge(folders: Sequence[Path], out: Path) -> Merged:
    """Puts the results of ``folders`` into ``out``, which is a new folder or one of the same plan.

    Raises :class:`UsageError` for a folder that is none of a campaign or belongs to another plan, and
    :class:`InputError` for one that is damaged or holds another result of an item than its neighbour. A torn tail,
    as a kill leaves it, is no damage: what it was to hold has been flown again, or counts as not there."""
    told = _manifests(folders)
    if any(out.resolve() == folder.resolve() for folder in folders):
        raise UsageError("the folder to write is one of those to read", f"--out {out}", "name a new folder")
    _whole(folders)
    sums: dict[int, bytes] = {}
    with store.Store(out, str(told["plan"]), told) as kept:
        for text, line in store.items(out):
            sums[store.key(text["item"])] = store.result_sum(line)
        studies = set(store.studies(out))
        lines: list[bytes] = []
        for line in _new(folders, sums):
            lines.append(line)
            if len(lines) == _AT_ONCE:
                kept.append(lines)
                lines = []
        for folder in folders:
            for name, facts in store.studies(folder).items():
                if name not in studies:
                    studies.add(name)
                    lines.append(store.encoded_study(name, facts))
            lines += [store.encoded_note(words) for words in store.notes(folder)]
        kept.append(lines)
    return Merged(len(sums), int(told.get("items", 0)))


def _manifests(folders: Sequence[Path]) -> Mapping[str, Any]:
    """What the folders say of themselves, all the same."""
    first: Mapping[str, Any] | None = None
    for folder in folders:
        found = store.manifest(folder)
        if found is None:
            raise UsageError(
                "this is no folder of a campaign", str(folder), "name folders that `leverproof campaign` left"
            )
        if first is None:
            first = found
        elif found.get("plan") != first.get("plan"):
            raise UsageError(
                f"this folder holds another campaign ({found.get('title', '')!r}) than {folders[0]}",
                str(folder),
                "shards of one plan, one state of the models and one set of cases go together",
                "other_plan",
            )
    if first is None:
        raise UsageError("no folder to merge", "", "name the folders of the shards")
    return first


def _whole(folders: Sequence[Path]) -> None:
    for folder in folders:
        damages: list[store.Damage] = []
        for _ in store.items(folder, damages):
            pass
        for damage in damages:
            if not damage.torn:
                raise InputError(
                    "a line is damaged: it does not have the checksum it was written with",
                    f"{folder / store.RESULTS / damage.file}:{damage.line}",
                    "copy the folder again, or run the shard again, which flies what is missing",
                    "damaged",
                )


def _new(folders: Sequence[Path], sums: dict[int, bytes]) -> Iterator[bytes]:
    """The lines of items that are not in ``sums`` yet, which takes them up."""
    for folder in folders:
        for text, line in store.items(folder):
            number, own = store.key(text["item"]), store.result_sum(line)
            known = sums.setdefault(number, own)
            if known != own:
                raise InputError(
                    f"two results of item {text['item']} ({text.get('case', '')}) differ",
                    str(folder),
                    "the model does not give the same twice, or was changed between two shards",
                    "differs",
                )
            if known is own:
                yield line
