"""The classes of defect that people complain of in simulated engines, as shipped data (``complaints.toml``)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from leverproof.errors import InputError
from leverproof.reference_data import reference_data
from leverproof.schema import check
from leverproof.toml_file import parse_toml, read_text

FILE = "complaints.toml"


@dataclass(frozen=True, slots=True)
class Complaint:
    """A class of defect: what is wrong, where that is published, the cases that can show it and the seeded defects of
    that class, with what they leave out (``limits``); or why it is ``out_of_scope``."""

    number: int
    complaint: str
    source: str
    cases: tuple[str, ...] = ()
    defects: tuple[str, ...] = ()
    limits: str = ""
    out_of_scope: str = ""


def load_complaints() -> tuple[Complaint, ...]:
    """The shipped classes, by number."""
    return parse_complaints(read_text(reference_data() / FILE), FILE)


def parse_complaints(text: str, where: str) -> tuple[Complaint, ...]:
    """The classes in ``text``. Raises :class:`InputError` for a file that does not fit its schema, and for numbers that
    are not 1, 2, 3 and so on."""
    document: Any = parse_toml(text, where)
    check(document, "complaints", where, text=text)
    found = tuple(
        Complaint(
            entry["number"],
            entry["complaint"],
            entry["source"],
            tuple(entry.get("cases", ())),
            tuple(entry.get("defects", ())),
            entry.get("limits", ""),
            entry.get("out_of_scope", ""),
        )
        for entry in document["class"]
    )
    for expected, complaint in enumerate(found, start=1):
        if complaint.number != expected:
            raise InputError(
                f"class {complaint.number} where {expected} belongs", where, "number them in order", "order"
            )
    return found
