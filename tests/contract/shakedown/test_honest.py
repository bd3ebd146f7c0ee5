"""Engines that keep their promises pass, in whatever language they are written."""

import pytest

from leverproof.stand.port import StandFile
from leverproof.stand.shakedown import shakedown


@pytest.mark.parametrize("name", ["corrie-18-early", "corrie-18-late", "second", "c", "javascript"])
def test_an_honest_engine_passes_every_item(honest: dict[str, StandFile], name: str) -> None:
    found = shakedown(honest[name])
    assert [(r.name, r.outcome.seen) for r in found.results if r.ending != "pass"] == []
    assert found.exit_code == 0
