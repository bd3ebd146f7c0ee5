"""A campaign from its plan to its results: what is left is flown, what comes back is kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol

from leverproof.campaign import store
from leverproof.campaign.expand import Shard, blocks, count, items, study_blocks
from leverproof.campaign.flying import NOT_MOUNTED, Lines
from leverproof.campaign.model import Block, Outcome, Plan
from leverproof.errors import StandError
from leverproof.judge.endings import ALL_PASSED, ENDINGS, FINDINGS, INTERRUPTED, INVALID_INPUT, NOTHING_JUDGED
from leverproof.stand.guard import SEE_TRACEBACK

Progress = Callable[[float, float, str], None]
_AGAIN = (
    "flown again on request, after an error: {:,} of the items; what they gave before lies in the files and does not "
    "count"
)


def _nothing() -> None:
    """Nobody has anything to do between two blocks."""


class Execute(Protocol):
    """Flies blocks on whatever there is, and tells each with its lines as it is done; a block may be told in parts."""

    def __call__(
        self, blocks: Iterable[Block], on_done: Callable[[Block, Lines], None], between: Callable[[], None] = _nothing
    ) -> None:
        """Returns when all are done. ``between`` is called after every block that is told, as soon as who flew it has
        the next one."""
        ...


@dataclass(frozen=True, slots=True)
class Flown:
    """How a campaign went: items in the plan's shard, how many of them are there now, how many were there before, and
    whether it was interrupted."""

    items: int
    done: int
    before: int
    interrupted: bool = False


def fly_campaign(
    plan: Plan,
    folder: Path,
    execute: Execute,
    *,
    shard: Shard,
    jobs: int,
    progress: Progress | None = None,
    counting: Counting | None = None,
    errors_again: bool = False,
) -> Flown:
    """Flies what is not in ``folder`` yet and keeps it there; with ``errors_again`` also what ended in an error there.
    ``jobs`` is how many workers there are, for the size of blocks. A keyboard interrupt ends it early; it is not raised
    again. ``counting`` takes everything that is there or comes, while others fly; after an interrupt it is of no use.

    Raises :class:`leverproof.errors.UsageError` for a folder of another plan, and :class:`StandError` where no model
    could be mounted at all."""
    again = _set_aside(plan, folder, shard) if errors_again else 0
    wanted = _Wanted(shard, store.finished(folder))
    whole, total, left = _counted(plan, wanted)
    before = total - left
    with store.Store(folder, plan.digest, header(plan, whole)) as kept:
        progressed = Counter(done=before)
        uncounted: list[bytes] = []
        if again:
            kept.append([store.encoded_note(_AGAIN.format(again))])

        def on_done(block: Block, lines: Lines) -> None:
            kept.append(lines)
            uncounted.extend(lines)
            progressed["done"] += len(block.items)
            if progress is not None:
                progress(progressed["done"], total, "flying cases")

        def between() -> None:
            if counting is not None:
                counting.lines(uncounted)
            uncounted.clear()

        try:
            if counting is not None:
                counting.folder(folder)
            if progress is not None:
                progress(before, total, "flying cases")
            if before < total:
                facts = _studied(plan, folder, execute, kept)
                lanes = {key: int(told.get("lanes", 1)) for key, told in facts.items()}
                made = blocks(plan, wanted, left=total - before, jobs=jobs, lanes=lanes)
                execute(_with_facts(made, facts), on_done, between)
                between()
        except KeyboardInterrupt:
            return Flown(total, progressed["done"], before, True)
        return Flown(total, progressed["done"], before)


def _set_aside(plan: Plan, folder: Path, shard: Shard) -> int:
    """Makes errors of the shard count as not there; how many items that are."""
    store.take(folder, plan.digest, header(plan, count(plan)))
    return store.fly_again(folder, "error", shard.holds)


def header(plan: Plan, whole: int) -> dict[str, Any]:
    """What a folder says of its plan, beside the digest; ``whole`` is the number of its items in all shards."""
    return {"title": plan.title, "text": plan.text, "seed": plan.seed, "items": whole}


class _Wanted:
    """Whether an item is in the shard and not there yet."""

    def __init__(self, shard: Shard, there: set[int]) -> None:
        self.shard, self._there = shard, there
        self.all = shard.of == 1 and not there

    def __call__(self, item: str) -> bool:
        return self.shard.holds(item) and store.key(item) not in self._there


def _counted(plan: Plan, wanted: _Wanted) -> tuple[int, int, int]:
    """Items in the plan, in the shard, and of these the ones still wanted."""
    if wanted.all:
        whole = count(plan)
        return whole, whole, whole
    whole = own = left = 0
    for item in items(plan):
        whole += 1
        own += wanted.shard.holds(item.id)
        left += wanted(item.id)
    return whole, own, left


def _studied(plan: Plan, folder: Path, execute: Execute, kept: store.Store) -> dict[tuple[int, str], dict[str, Any]]:
    """The facts of every model and sheet, flown where they are not there yet."""
    asked = {block.id: block for block in study_blocks(plan)}
    known = store.studies(folder)

    unmounted: list[str] = []

    def on_done(block: Block, lines: Lines) -> None:
        words = [str(store.study_of(line).get("words", "")) for line in lines]
        if all(told.startswith(NOT_MOUNTED) for told in words):
            # Not kept, so that it is tried again when somebody has mended what was wrong.
            unmounted.extend(words)
        else:
            kept.append(lines)

    execute([block for name, block in asked.items() if name not in known], on_done)
    known = store.studies(folder)
    if asked and len(unmounted) == len(asked):
        words = unmounted[0].removeprefix(NOT_MOUNTED).removesuffix(f" ({SEE_TRACEBACK})")
        hint = "`leverproof run --stand FILE` mounts one model alone and shows all that it said"
        raise StandError(words, plan.path, hint, "no_handshake")
    return {(block.model, block.sheet): known[name] for name, block in asked.items() if name in known}


def _with_facts(flown: Iterable[Block], facts: dict[tuple[int, str], dict[str, Any]]) -> Iterator[Block]:
    for block in flown:
        yield replace(block, facts=facts.get((block.model, block.sheet)))


@dataclass
class Tally:
    """Judgements of a folder counted by verdict: required ones that count, advisory ones, and passes that refer to
    the model itself; the items, how many the plan has in all shards, the digest of the results, and what was odd
    about the folder."""

    required: Counter[str] = field(default_factory=Counter)
    advisory: Counter[str] = field(default_factory=Counter)
    self_referential: Counter[str] = field(default_factory=Counter)
    items: int = 0
    planned: int = 0
    digest: str = ""
    damages: list[store.Damage] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def remarks(self) -> list[str]:
        """What a person should know of the stands and of the folder."""
        damaged = sum(not damage.torn for damage in self.damages)
        words = [f"{damaged:,} lines of the results are damaged and count as not there"] if damaged else []
        missing = self.planned - self.items
        if missing > 0:
            part = f"only {self.items:,} of the {self.planned:,} items of the plan are here: {missing:,} are missing"
            words.insert(0, part)
        return [*words, *self.notes]

    @property
    def exit_code(self) -> int:
        """1 where a required judgement failed or could not be judged, 5 where nothing was judged, else 0."""
        brought = {ENDINGS[verdict].exit for verdict, number in self.required.items() if number}
        if FINDINGS in brought:
            return FINDINGS
        return ALL_PASSED if ALL_PASSED in brought else NOTHING_JUDGED


class Counting:
    """Items counted as they come; ``each`` outcome may be taken for something else too. In whatever order
    they come, the tally is the same."""

    def __init__(self, each: Callable[[Outcome], None] | None = None) -> None:
        self._each = each
        self._found = Tally()
        # One after the other in one piece of memory, for there may be millions.
        self._sums = bytearray()

    def folder(self, folder: Path) -> None:
        """Takes what is in a folder, and how many items its plan has."""
        planned = (store.manifest(folder) or {}).get("items", 0)
        self._found.planned = planned if isinstance(planned, int) else 0
        for text, line in store.items(folder, self._found.damages, self._found.notes):
            self._take(text, line)

    def lines(self, lines: Iterable[bytes]) -> None:
        """Takes lines of further items, that have been written to it since."""
        for text, line in store.items_in(lines, self._found.notes):
            self._take(text, line)

    def tally(self) -> Tally:
        """What has been taken."""
        size = store.DIGEST_PART
        self._found.digest = store.digest_of(
            bytes(self._sums[at : at + size]) for at in range(0, len(self._sums), size)
        )
        return self._found

    def _take(self, text: Mapping[str, Any], line: bytes) -> None:
        found = self._found
        found.items += 1
        self._sums += store.digest_part(text, line)
        if self._each is not None:
            for outcome in store.outcomes_of(text):
                self._each(outcome)
        for row in text["rows"]:
            verdict = str(row["verdict"])
            if row.get("self_referential") and ENDINGS[verdict].passed:
                found.self_referential[verdict] += 1
            elif row["weight"] == "required":
                found.required[verdict] += 1
            else:
                found.advisory[verdict] += 1


def tally(folder: Path, each: Callable[[Outcome], None] | None = None) -> Tally:
    """Everything in a folder counted, as :class:`Counting` does."""
    counting = Counting(each)
    counting.folder(folder)
    return counting.tally()


def exit_code(flown: Flown, counted: Tally, *, problems: bool) -> int:
    """The exit of the command."""
    if flown.interrupted:
        return INTERRUPTED
    return INVALID_INPUT if problems else counted.exit_code
