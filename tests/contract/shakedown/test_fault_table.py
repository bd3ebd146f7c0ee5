"""Each item of the kit has a model that fails exactly that item, and the page shows what became of each."""

import re
from collections.abc import Callable, Mapping
from pathlib import Path

from leverproof.stand.shakedown import Shakedown
from leverproof.stand.shakedown.catalogue import BY_NAME, ITEMS

PAGE = Path(__file__).resolve().parents[3] / "docs" / "how-to" / "shake-down-a-model.md"
Vices = Mapping[str, tuple[str, str]]


def stands_on(name: str) -> set[str]:
    """The items below an item, however far."""
    needs = BY_NAME[name].needs
    return {*needs, *(lower for need in needs for lower in stands_on(need))}


def test_every_item_has_a_faulty_model(vices: Vices) -> None:
    assert {item for item, _ in vices.values()} == {item.name for item in ITEMS}


def test_each_faulty_model_fails_exactly_its_item(vices: Vices, endings: dict[str, Shakedown]) -> None:
    found = {vice: shaken.ended("fail") for vice, shaken in endings.items()}
    assert found == {vice: (item,) for vice, (item, _) in vices.items()}


def test_what_is_blocked_stands_on_what_failed(vices: Vices, endings: dict[str, Shakedown]) -> None:
    for vice, (item, _) in vices.items():
        expected = {other.name for other in ITEMS if item in stands_on(other.name)}
        assert set(endings[vice].ended("blocked")) == expected, vice
        assert all((r.blocked_by != "") == (r.ending == "blocked") for r in endings[vice].results)


def test_exit_codes(vices: Vices, endings: dict[str, Shakedown]) -> None:
    codes = {vice: shaken.exit_code for vice, shaken in endings.items()}
    assert codes == {vice: 3 if vice == "dies-at-start" else 1 for vice in vices}


def test_a_failure_says_what_was_seen_and_how_to_mend_it(endings: dict[str, Shakedown]) -> None:
    numbers = ("units", "levers", "surroundings", "timing", "jitter", "clock", "grid-step")
    for shaken in endings.values():
        for result in (r for r in shaken.results if r.ending == "fail"):
            assert len(result.outcome.seen) > 20 and len(result.outcome.mend) > 20, result
            assert result.name not in numbers or re.search(r"\d", result.outcome.seen), result


def test_the_same_engine_without_a_vice_passes(shaken: Callable[..., Shakedown]) -> None:
    found = shaken("none")
    assert found.exit_code == 0
    assert found.ended("pass") == tuple(item.name for item in ITEMS)


def test_another_seed_draws_other_rows_and_ends_alike(shaken: Callable[..., Shakedown]) -> None:
    def seen(seed: int) -> tuple[str, str]:
        (_, result) = shaken("late-by-a-batch", seed=seed, items=["single-steps"]).results
        return result.ending, result.outcome.seen

    assert seen(5) == seen(5)
    assert seen(5)[0] == seen(6)[0] == "fail"
    assert seen(5)[1] != seen(6)[1]


def test_the_page_shows_the_table(table: str) -> None:
    blocks = re.findall(r"```text fault-table\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert blocks == [table]
