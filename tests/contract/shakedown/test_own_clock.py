"""Models on their own clock: each item about the clock has a model that fails exactly that item."""

from __future__ import annotations

import importlib.util
import re
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.schema import check
from leverproof.stand.free_running import FreeRunningSession
from leverproof.stand.port import Deadlines, Session, StandFile
from leverproof.stand.shakedown import Shakedown, shakedown
from leverproof.stand.shakedown.catalogue import BY_NAME, OWN_CLOCK_ITEMS, items_for
from leverproof.stand.shakedown.document import document_of

MODELS = Path(__file__).resolve().parents[2] / "models"
PAGE = Path(__file__).resolve().parents[3] / "docs" / "how-to" / "shake-down-a-model.md"


@pytest.fixture(scope="module")
def faults() -> ModuleType:
    """The models of this page."""
    spec = importlib.util.spec_from_file_location("free_running_faults", MODELS / "free_running_faults.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def shaken_clock(faults: ModuleType) -> Callable[..., Shakedown]:
    """Shakes down the engine with a vice of its clock; nobody waits for that clock."""

    def one(vice: str, *, items: tuple[str, ...] = (), **changes: object) -> Shakedown:
        wall = faults.Wall()
        deadlines = Deadlines(request=5.0)

        def opened(stand: StandFile, *, defect: str | None) -> Session:
            model = faults.Clocked(vice, wall=wall, **changes)
            return FreeRunningSession(model, stand.deadlines, clock=wall, sleep=wall.sleep)

        stand = StandFile(
            path=str(MODELS / "free.stand.toml"),
            title=vice,
            kind="in_process",
            target="free:make",
            clock="free_running",
            deadlines=deadlines,
        )
        return shakedown(stand, items=items, clock=wall, sleep=wall.sleep, adapters={"in_process": opened})

    return one


@pytest.fixture(scope="module")
def endings(faults: ModuleType, shaken_clock: Callable[..., Shakedown]) -> dict[str, Shakedown]:
    """The shakedown of every faulty clock."""
    return {vice: shaken_clock(vice) for vice in faults.CLOCK_VICES}


def stands_on(name: str) -> set[str]:
    """The items below an item, however far."""
    needs = BY_NAME[name].needs
    return {*needs, *(lower for need in needs for lower in stands_on(need))}


def test_every_item_about_a_clock_has_a_faulty_model(faults: ModuleType) -> None:
    assert {item for item, _ in faults.CLOCK_VICES.values()} == {item.name for item in OWN_CLOCK_ITEMS}


def test_each_faulty_clock_fails_exactly_its_item(faults: ModuleType, endings: dict[str, Shakedown]) -> None:
    found = {vice: shaken.ended("fail") for vice, shaken in endings.items()}
    assert found == {vice: (item,) for vice, (item, _) in faults.CLOCK_VICES.items()}
    assert all(shaken.exit_code == 1 for shaken in endings.values())


def test_what_is_blocked_stands_on_what_failed(faults: ModuleType, endings: dict[str, Shakedown]) -> None:
    for vice, (item, _) in faults.CLOCK_VICES.items():
        listed = [other.name for other in items_for("free_running") if other.clock != "stepped"]
        expected = {name for name in listed if item in stands_on(name)}
        assert set(endings[vice].ended("blocked")) >= expected, vice


def test_a_failure_says_what_was_seen_and_how_to_mend_it(endings: dict[str, Shakedown]) -> None:
    for vice, shaken in endings.items():
        check(document_of(shaken), "shakedown", vice)
        for result in (r for r in shaken.results if r.ending == "fail"):
            assert len(result.outcome.seen) > 20 and len(result.outcome.mend) > 20, result
            assert re.search(r"\d", result.outcome.seen), result


@pytest.mark.parametrize("changes", [{}, {"rate": 20.0}, {"declares": False, "rate": 4.0}, {"reset": False}])
def test_the_same_engine_without_a_vice_passes(
    shaken_clock: Callable[..., Shakedown], changes: dict[str, object]
) -> None:
    found = shaken_clock("none", **changes)
    assert [(r.name, r.outcome.seen) for r in found.results if r.ending in ("fail", "blocked")] == []
    asked = {item.name for item in items_for("free_running") if item.clock != "stepped"}
    assert set(found.ended("pass")) == asked
    assert found.exit_code == 0


def test_what_needs_steps_is_listed_as_not_applicable(shaken_clock: Callable[..., Shakedown]) -> None:
    found = shaken_clock("none", items=("repeat", "grid-step"))
    assert set(found.ended("not applicable")) == {"repeat", "grid-step"}
    assert all("runs on its own clock" in r.outcome.seen for r in found.results if r.ending == "not applicable")


def test_the_jitter_is_a_figure(shaken_clock: Callable[..., Shakedown]) -> None:
    found = {r.name: r.outcome for r in shaken_clock("none").results}
    measures = found["poll-jitter"].measures
    assert 0.0 < measures["late_s"] < measures["jitter_s"] < 0.2
    assert measures["rate"] == pytest.approx(1.0, rel=0.06)


def test_surroundings_that_cannot_be_told(shaken_clock: Callable[..., Shakedown]) -> None:
    found = shaken_clock("none", surroundings=False)
    assert "surroundings" in found.ended("not applicable")
    assert found.exit_code == 0
    assert any("cannot be told" in line for line in found.facts["warnings"])


def clock_table(vices: dict[str, tuple[str, str]], endings: dict[str, Shakedown]) -> str:
    """The table of items by faulty clocks, as the page shows it."""
    names = [item.name for item in items_for("free_running") if item.clock != "stepped"]
    reach = max(map(len, vices))
    marks = {"pass": " .", "fail": " F", "blocked": " b", "not applicable": " -"}
    lines = [f"{'':{reach}}  " + " ".join(f"{at:>2}" for at in range(1, len(names) + 1))]
    for vice, found in endings.items():
        ended = {result.name: marks[result.ending] for result in found.results}
        lines.append(f"{vice:{reach}}  " + " ".join(ended[name] for name in names))
    lines += ["", "F failed, b blocked by an item that failed, . passed", ""]
    lines += [f"{at:>2} {name}" for at, name in enumerate(names, start=1)]
    lines += ["", *(f"{vice:{reach}}  {does}" for vice, (_, does) in vices.items())]
    return "\n".join(lines) + "\n"


def test_the_page_shows_the_table_of_clocks(faults: ModuleType, endings: dict[str, Shakedown]) -> None:
    blocks = re.findall(r"```text clock-fault-table\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert blocks == [clock_table(faults.CLOCK_VICES, endings)]
