"""Plans for the engine that breaks at one altitude, and their results flown into a folder."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from leverproof.campaign import store
from leverproof.campaign.expand import blocks
from leverproof.campaign.flying import Lines
from leverproof.campaign.model import Block, Coefficient, Model, Plan, Swept
from leverproof.campaign.plan_file import print_of
from leverproof.cases.loader import parse_case
from leverproof.sheet.loader import find_sheet, parse_sheet
from leverproof.stand.port import Deadlines, StandFile

ENGINE = Path(__file__).resolve().parents[1] / "models" / "breaking_engine.py"
SHEET = "corrie-18-early"
CASE = """
format = 1
id = "throttle-up"
subject = "throttle"
title = "Throttle opened"
question = "Does the manifold pressure rise when the throttle is opened?"
consequence = "A throttle that does not throttle."
caution = "A statement about a simulated engine; never a power setting or a procedure for a real one."
applies = { levers = ["throttle"], channels = ["manifold_pressure"], lost = "whether the throttle works" }
start = { engine = "running" }

[surroundings]
pressure_altitude = "0 ft"
temperature_offset = "0 K"
relative_humidity = 0
true_airspeed = "180 kt"

[[run]]
name = "up"
steps = [
  { do = "set", throttle = 0.2, propeller = "rated" },
  { do = "read", name = "before", limit = "30 s" },
  { do = "move", name = "open", throttle = "open", over = "1 s" },
  { do = "hold", for = "10 s" },
  { do = "read", name = "after", limit = "30 s" },
]

[[judgement]]
id = "pressure-rises"
what = "difference"
asked = "manifold pressure gained by opening the throttle"
channel = "manifold_pressure"
more = "up.after"
less = "up.before"
at_least = "0 inHg"
basis = "physics"
source = "a throttle is a pressure drop"
weight = "required"
"""

Run = Callable[[Iterable[Block], Callable[[Block, Lines], None]], None]


def plan(altitudes: Iterable[float], *, samples: int = 0, engine: Path = ENGINE, **options: Any) -> Plan:
    """A plan of one case at these pressure altitudes, and so many samples of one coefficient."""
    deadlines = Deadlines(start=0.2, request=0.4, row=0.002)
    stand = StandFile(
        str(engine.with_name("breaking.stand.toml")), "breaking engine", "in_process", target=f"{engine.name}:make",
        options=options, deadlines=deadlines, coefficients={"filling": 1.0},
    )  # fmt: skip
    sampled = (Coefficient("filling", "uniform", 0.8, 1.0, "assumption"),) if samples else ()
    parsed = parse_case(CASE, "throttle-up.toml")
    model = Model("breaking engine", stand, "", (SHEET,), sampled, print_of(stand, "", None))
    sheet = parse_sheet(*find_sheet(SHEET))
    swept = (Swept("pressure_altitude", tuple(altitudes)),)
    return Plan("altitudes", 1, (model,), {SHEET: sheet}, {parsed.id: parsed}, swept, samples, digest="d" * 64)


def flown(plan: Plan, run: Run, folder: Path, *, most_items: int, after: Callable[[int], None] | None = None) -> str:
    """The digest of the results of a plan, flown by ``run`` in blocks of so many items; ``after`` is told how many
    blocks are done."""
    done = 0
    with store.Store(folder, plan.digest, {"title": plan.title}) as kept:

        def on_done(block: Block, lines: Lines) -> None:
            nonlocal done
            done += 1
            kept.append(lines)
            if after is not None:
                after(done)

        run(blocks(plan, lambda _: True, most_items=most_items), on_done)
    return store.digest(folder)


def times_kept(folder: Path) -> Counter[str]:
    """How often each item is in a folder, repeated ones too."""
    lines = [line for path in sorted((folder / store.RESULTS).iterdir()) for line in path.read_bytes().splitlines()]
    return Counter(json.loads(line.split(b" ", 1)[1]).get("item", "") for line in lines)
