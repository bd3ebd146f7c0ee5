"""Which cases and judgements a sheet lets apply, on a stand that takes and gives everything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from leverproof.cases.model import ReferenceCase
from leverproof.cases.values import CAPABILITIES
from leverproof.channels import CHANNELS
from leverproof.conduct.plan import Ground, refusals
from leverproof.sheet.model import EngineSheet
from leverproof.timegrid import TimeGrid

_GRID = "0.05 s"


def judged(cases: Sequence[ReferenceCase], sheet: EngineSheet) -> Mapping[str, frozenset[str]]:
    """The judgements that apply, by the id of their case; a case without any is left out. Only the sheet can be the
    reason here: the stand is taken to lack nothing."""
    ground = Ground(
        sheet=sheet,
        inputs=frozenset(c.name for c in CHANNELS.values() if c.kind != "reading"),
        outputs=frozenset(c.name for c in CHANNELS.values() if c.kind == "reading"),
        capabilities=frozenset(CAPABILITIES),
        grid=TimeGrid.parse(_GRID),
        seed=1,
    )
    out: dict[str, frozenset[str]] = {}
    for case in cases:
        reason, refused = refusals(case, ground)
        left = frozenset(j.id for j in case.judgements if j.id not in refused)
        if reason is None and left:
            out[case.id] = left
    return out
