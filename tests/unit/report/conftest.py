"""A record of an invented session, with every kind of verdict in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from leverproof.cases.model import Applies, Judgement, ReferenceCase, Run, Step, Value
from leverproof.conduct.model import NotApplicable, PlannedCase
from leverproof.judge.model import VERDICTS, Doubt, Finding, PointFinding
from leverproof.quantities import Quantity
from leverproof.record import Record, RecordWriter, read_record

REQUEST = {
    "stand": "stands/my corrie.toml",
    "sheet": None,
    "cases": ["boost-*"],
    "case_folders": ["more cases"],
    "subjects": ["boost control"],
    "seed": 7,
    "defect": "instant-turbo",
    "out": "leverproof-record",
    "command": ["leverproof", "run"],
}
HEADER: dict[str, Any] = {
    "request": REQUEST,
    "stand": {"title": "Corrie-18 on the bench", "path": "stands/my corrie.toml"},
    "sheet": {"id": "corrie-18-early", "title": "Corrie-18 early", "revision": "1"},
    "seed": 7,
    "defect": "instant-turbo",
}


def judgement(name: str, **more: Any) -> Judgement:
    """A judgement of the invented case."""
    given = {
        "what": "value",
        "asked": "manifold pressure at take-off with the boost lever back",
        "weight": "required",
        "basis": "sheet",
        "source": "sheet, takeoff.manifold_pressure",
        "channel": "manifold_pressure",
    }
    return Judgement(id=name, **(given | more))


def case(name: str, subject: str, judgements: tuple[Judgement, ...], **more: Any) -> ReferenceCase:
    """A case that holds ``judgements``."""
    run = Run(
        "only",
        (Step("set", levers={"throttle": Value(quantity=Quantity(0.3, "1"))}), Step("read", "settled")),
    )
    given: dict[str, Any] = {
        "title": "Take-off with boost back",
        "question": "Does the engine give its rating with boost back?",
        "caution": "A statement about a simulated engine.",
        "engine": "running",
        "applies": Applies(),
        "surroundings": {"pressure_altitude": Value(quantity=Quantity(0.0, "ft"))},
        "runs": (run,),
    }
    return ReferenceCase(id=name, subject=subject, judgements=judgements, **(given | more))


def finding(asked: Judgement, of: ReferenceCase, verdict: str, **more: Any) -> Finding:
    """The finding of a judgement."""
    given: dict[str, Any] = {
        "found": "49.82 inHg",
        "expected": "52 inHg",
        "tolerance": "0.5 inHg",
        "unit": "inHg",
        "number": 2.18,
        "limit": 0.5,
        "w": 0.12,
    }
    return Finding(
        of.id, asked.id, of.subject, asked.what, asked.asked, asked.weight, asked.basis, asked.source, verdict,
        **(given | more),
    )  # fmt: skip


def plan(of: ReferenceCase, **more: Any) -> PlannedCase:
    """The case as planned, without programs."""
    return PlannedCase(of, (), (), of.judgements, **more)


@pytest.fixture
def session(tmp_path: Path) -> Callable[..., Record]:
    """Writes and reads a record of cases with their findings."""

    def write(
        planned: list[PlannedCase], findings: list[Finding], *, ending: tuple[str, int] | None = ("finished", 1),
        header: dict[str, Any] = HEADER, events: tuple[tuple[str, dict[str, Any]], ...] = (),
    ) -> Record:  # fmt: skip
        folder = tmp_path / "leverproof-record"
        with RecordWriter(folder, header) as writer:
            writer.event("handshake", model="Corrie-18", version="3", derived_from="gas relations of its own")
            for kind, data in events:
                writer.event(kind, **data)
            writer.expectations(planned)
            writer.findings(findings)
            if ending is not None:
                writer.close(*ending)
        return read_record(folder)

    return write


@pytest.fixture
def full(session: Callable[..., Record]) -> Record:
    """Every verdict, required and advisory, a self-referential finding, a sweep, and what does not apply."""
    every = case("take-off-boost-back", "take-off", tuple(judgement(v.replace(" ", "-")) for v in VERDICTS))
    some = tuple(
        judgement(n, weight=w, asked=a, what="difference")
        for n, w, a in (
            ("power-sign", "required", "power with the throttle first, less power with the levers together"),
            ("size", "advisory", "size of the advantage by the 300 hp rule"),
            ("own-datum", "required", "advantage stated on the sheet"),
            ("gauges", "required", "turbo speed higher with the levers together"),
        )
    )
    split = case("split-lever-advantage", "boost control", some)
    lost = case("overspeed-light", "overspeed light", (judgement("table", what="state"),))
    found = [finding(j, every, v) for j, v in zip(every.judgements, VERDICTS, strict=True)]
    points = (
        PointFinding("10,000 ft", 60.0, 40.0, "hp", -20.0, 0.0, 3.1, "pass"),
        PointFinding("15,000 ft", 12.3, 40.0, "hp", 27.7, 0.0, 3.1, "fail", (Doubt("step study", 1.5),)),
    )
    hp = {"found": "12.3 hp", "expected": "at least 40 hp", "tolerance": "", "unit": "hp", "number": 27.7, "limit": 0.0,
          "w": 3.1}  # fmt: skip
    found += [
        finding(
            some[0], split, "fail", points=points, note="2 hp for each inHg of extra deck pressure", **hp
        ),
        finding(some[1], split, "fail", **hp),
        finding(some[2], split, "pass", self_referential=True, **hp),
    ]
    planned = [
        plan(every),
        plan(split, inapplicable_judgements={"gauges": NotApplicable("channel turbo_speed", "the gauges")}),
        plan(
            lost,
            inapplicable=NotApplicable("channel turbo_overspeed_light", "whether the light tells the truth"),
        ),
    ]
    warning = ("warning", {"message": "the model printed 3 lines before its handshake", "where": "stdout"})
    return session(planned, found, events=(warning,))


@pytest.fixture
def make() -> SimpleNamespace:
    """The builders above, for tests that want a session of their own."""
    return SimpleNamespace(judgement=judgement, case=case, finding=finding, plan=plan, header=HEADER)
