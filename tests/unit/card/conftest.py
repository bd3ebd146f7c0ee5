"""Cards of shipped cases, and small tables written for them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.conduct.card import Card, card_of
from leverproof.sheet.loader import load_sheet

Printer = Callable[..., Card]
CATALOGUE = load_catalogue()


@pytest.fixture(scope="session")
def printed() -> Printer:
    def card(case: str, sheet: str = "corrie-18-early", **asked: object) -> Card:
        return card_of(CATALOGUE.case(case), load_sheet(sheet), **asked)  # type: ignore[arg-type]

    return card
